"""The mailbox that bounces come back to, read over IMAP: what is unread is handed over and marked read afterwards."""

import imaplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from django.conf import settings

TIMEOUT = 20  # seconds for each step
MOST_OCTETS = 256 * 1024  # of one mail: what a report says stands at its top


class MailboxAway(Exception):
    """The mailbox cannot be read now; the text says why."""


@dataclass(frozen=True)
class Mailbox:
    """A folder of an IMAP server."""

    host: str
    port: int
    user: str
    password: str
    folder: str = "INBOX"
    tls: bool = True

    @contextmanager
    def opened(self) -> Iterator["Unread"]:
        """Log in and open the folder. Raises MailboxAway, also for what goes wrong while it is open."""
        try:
            server = self._connected()
        except (OSError, imaplib.IMAP4.error) as error:
            raise MailboxAway(f"No connection to the mailbox: {type(error).__name__}") from error
        try:
            server.login(self.user, self.password)
            quoted = self.folder.replace("\\", "\\\\").replace('"', '\\"')
            if server.select(f'"{quoted}"')[0] != "OK":
                raise MailboxAway("The mailbox has no such folder.")
            yield Unread(server)
        except (OSError, imaplib.IMAP4.error) as error:  # the error's words may repeat the login
            raise MailboxAway(f"The mailbox broke off: {type(error).__name__}") from error
        finally:
            _hang_up(server)

    def _connected(self) -> imaplib.IMAP4:
        if not self.tls:
            return imaplib.IMAP4(self.host, self.port, timeout=TIMEOUT)
        return imaplib.IMAP4_SSL(self.host, self.port, ssl_context=ssl.create_default_context(), timeout=TIMEOUT)


def _hang_up(server: imaplib.IMAP4) -> None:
    try:
        server.logout()
    except (OSError, imaplib.IMAP4.error):
        with suppress(OSError):
            server.shutdown()


@dataclass(frozen=True)
class Unread:
    """The unread mails of an open folder."""

    server: imaplib.IMAP4

    def numbers(self, most: int) -> list[str]:
        """Return the first `most` unread mails, by their lasting numbers."""
        _, found = self.server.uid("SEARCH", "UNSEEN")
        return [number.decode() for number in (found[0] or b"").split()][:most]

    def content(self, number: str) -> bytes:
        """Return the first octets of a mail; empty where it is gone. It stays unread."""
        _, found = self.server.uid("FETCH", number, f"(BODY.PEEK[]<0.{MOST_OCTETS}>)")
        return next((part[1] for part in found if isinstance(part, tuple)), b"")

    def done(self, number: str) -> None:
        """Mark a mail read."""
        self.server.uid("STORE", number, "+FLAGS.SILENT", "(\\Seen)")


def bounce_mailbox() -> Mailbox | None:
    """Return the mailbox of the settings, None where none is named."""
    if not settings.BOUNCE_IMAP_HOST:
        return None
    return Mailbox(
        settings.BOUNCE_IMAP_HOST, settings.BOUNCE_IMAP_PORT, settings.BOUNCE_IMAP_USER, settings.BOUNCE_IMAP_PASSWORD,
        settings.BOUNCE_IMAP_FOLDER, settings.BOUNCE_IMAP_TLS,
    )  # fmt: skip
