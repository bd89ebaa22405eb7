"""Letters to another system over HTTPS, signed so that it can tell they are ours (webhook-id, -timestamp, -signature).

The id of a letter is the same on every try: who takes it keeps what came once. So a try whose answer got lost may be
repeated, which mail may not.
"""

import base64
import hashlib
import hmac
import http.client
import json
import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from django.conf import settings
from django.utils import timezone

from tracker.actions.posting import Delivery, Letter, Outcome
from tracker.channels.addresses import BadAddress, Resolve, Target, system_addresses, target_of

TIMEOUT = 5.0  # seconds for each step: connecting, TLS, sending, the first line of the answer
WHOLE = 15.0  # seconds for all of it: an answer that drips in is cut off
AGAIN = frozenset({408, 425, 429})  # 4xx that mean: later

Connect = Callable[[tuple[str, int], float], socket.socket]


@dataclass(frozen=True)
class WebhookChannel:
    """One request per letter to `url`; no redirect is followed, and of the answer only its status counts."""

    url: str
    secret: str
    private: bool = False  # the own network may be meant: for tests and for gateways on the same machine
    resolve: Resolve = system_addresses
    connect: Connect = socket.create_connection
    tls: ssl.SSLContext = field(default_factory=ssl.create_default_context)
    timeout: float = TIMEOUT
    whole: float = WHOLE

    def send(self, letter: Letter) -> Delivery:
        """Hand the letter over and say what was answered."""
        try:
            target = target_of(self.url, private=self.private, resolve=self.resolve)
        except BadAddress as error:
            return Delivery(Outcome.REFUSED, str(error))
        except OSError as error:
            return Delivery(Outcome.LATER, f"The webhook's name cannot be looked up: {error.strerror or error}")
        try:
            return judged(self._post(target, letter))
        except (OSError, http.client.HTTPException, ssl.CertificateError) as error:
            return Delivery(Outcome.LATER, f"The webhook does not answer: {type(error).__name__}")

    def _post(self, target: Target, letter: Letter) -> int:
        body = body_of(letter)
        line = Pinned(target, self)
        cut = threading.Timer(self.whole, line.cut)
        cut.daemon = True
        cut.start()
        try:
            line.request("POST", target.path, body, headers_of(letter.message_id, body, self.secret))
            return line.getresponse().status
        finally:
            cut.cancel()
            line.close()


class Pinned(http.client.HTTPConnection):
    """A connection to the address that was judged; the certificate is asked for by the name."""

    def __init__(self, target: Target, channel: WebhookChannel) -> None:
        super().__init__(f"[{target.host}]" if ":" in target.host else target.host, target.port)
        self.default_port = 443 if target.secure else 80
        self.target, self.channel = target, channel

    def connect(self) -> None:
        """Open the line. Raises OSError."""
        self.sock = self.channel.connect((self.target.address, self.target.port), self.channel.timeout)
        if self.target.secure:
            self.sock = self.channel.tls.wrap_socket(self.sock, server_hostname=self.target.host)

    def cut(self) -> None:
        """End it from outside: whoever waits for it gets an error."""
        with suppress(OSError, AttributeError):
            self.sock.shutdown(socket.SHUT_RDWR)


def judged(status: int) -> Delivery:
    """Return what an answer's status means for the letter."""
    if 200 <= status < 300:
        return Delivery(Outcome.SENT, f"The webhook answered {status}.")
    later = status >= 500 or status in AGAIN
    return Delivery(Outcome.LATER if later else Outcome.REFUSED, f"The webhook answered {status}.")


def body_of(letter: Letter) -> bytes:
    """Return what is posted: for whom, and the whole mail as text (it is ASCII: its parts are quoted-printable)."""
    data = {"id": letter.message_id, "to": letter.recipient, "mail": letter.content.decode("ascii", "replace")}
    return json.dumps({"type": "letter", "data": data}).encode()


def headers_of(message_id: str, body: bytes, secret: str) -> dict[str, str]:
    """Return the headers of a request, its signature among them."""
    name, moment = message_id.strip("<>"), str(int(timezone.now().timestamp()))
    return {
        "Content-Type": "application/json",
        "User-Agent": "trike-service-record",
        "webhook-id": name,
        "webhook-timestamp": moment,
        "webhook-signature": f"v1,{signature(name, moment, body, secret)}",
    }


def signature(name: str, moment: str, body: bytes, secret: str) -> str:
    """Return base64 of HMAC-SHA256 over `id.timestamp.body`; a secret that begins with whsec_ is base64 itself."""
    key = base64.b64decode(secret.removeprefix("whsec_")) if secret.startswith("whsec_") else secret.encode()
    return base64.b64encode(hmac.new(key, f"{name}.{moment}.".encode() + body, hashlib.sha256).digest()).decode()


def set_up_webhook() -> WebhookChannel:
    """Return the channel as the settings say."""
    return WebhookChannel(
        settings.REMINDER_WEBHOOK_URL, settings.REMINDER_WEBHOOK_SECRET, settings.REMINDER_WEBHOOK_PRIVATE
    )
