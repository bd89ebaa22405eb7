"""Just enough of an IMAP server (RFC 3501) to read a mailbox from."""

import re
import socketserver
from collections.abc import Iterator
from contextlib import contextmanager

from tests.servers import serving


class Session(socketserver.StreamRequestHandler):
    """One login. The server's `mails` are octets by number, `seen` the numbers read; it hangs up at `hang_up_at`."""

    def handle(self) -> None:
        self.say("* OK ready")
        while line := self.rfile.readline().decode().strip():
            tag, _, command = line.partition(" ")
            if self.server.hang_up_at and self.server.hang_up_at in command:
                return
            words = command.split()
            self.answer("UID" if words[0] == "UID" else words[0].upper(), command)
            refused = (words[0] == "LOGIN" and "right" not in command) or "No such" in command
            self.say(f"{tag} {'NO refused' if refused else 'OK done'}")

    def answer(self, verb: str, command: str) -> None:
        number = int(found[1]) if (found := re.search(r"UID (?:FETCH|STORE) (\d+)", command)) else 0
        if verb == "CAPABILITY":
            self.say("* CAPABILITY IMAP4rev1")
        elif verb == "SELECT":
            self.say(f"* {len(self.server.mails)} EXISTS")
        elif "SEARCH" in command:
            unread = [str(n) for n in self.server.mails if n not in self.server.seen]
            self.say(f"* SEARCH {' '.join(unread)}")
        elif "FETCH" in command and number in self.server.mails:
            content = self.server.mails[number]
            self.say(f"* {number} FETCH (UID {number} BODY[]<0> {{{len(content)}}}")
            self.wfile.write(content + b")\r\n")
        elif "STORE" in command:
            self.server.seen.add(number)
        elif verb == "LOGOUT":
            self.say("* BYE")

    def say(self, line: str) -> None:
        self.wfile.write(f"{line}\r\n".encode())


@contextmanager
def mailbox_with(*mails: bytes) -> Iterator[socketserver.ThreadingTCPServer]:
    """A server with these mails in its INBOX; the password is 'right'."""
    server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Session)
    server.mails, server.seen, server.hang_up_at = dict(enumerate(mails, 1)), set(), ""
    server.daemon_threads = True
    with serving(server):
        yield server
