"""A real mail server on this machine, in a thread of the test."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage

from aiosmtpd.controller import Controller


class Server:
    """A mail server that answers each step as told and keeps what it took."""

    def __init__(self) -> None:
        self.took, self.to_sender, self.to_recipient, self.to_letter = [], "250 OK", "250 OK", "250 OK"

    async def handle_MAIL(self, server, session, envelope, address, options):
        if self.to_sender.startswith("250"):
            envelope.mail_from = address
        return self.to_sender

    async def handle_RCPT(self, server, session, envelope, address, options):
        if self.to_recipient.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.to_recipient

    async def handle_DATA(self, server, session, envelope):
        if self.to_letter == "hang up":
            server.transport.abort()
            return "250 never heard"
        if self.to_letter.startswith("250"):
            self.took.append(envelope)
        return self.to_letter

    def mails_to(self, address: str) -> list[EmailMessage]:
        """What it took for one address."""
        took = [envelope for envelope in self.took if envelope.rcpt_tos == [address]]
        return [message_from_bytes(envelope.content, policy=policy.default) for envelope in took]


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return door.getsockname()[1]


def point_settings_at(settings, port: int) -> None:
    """Let the product send to this machine's `port`."""
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", port, False
    settings.MAIL_CHANNEL = "smtp"


@contextmanager
def listening(port: int) -> Iterator[Server]:
    """A server that listens on `port`."""
    handler = Server()
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield handler
    finally:
        controller.stop()
