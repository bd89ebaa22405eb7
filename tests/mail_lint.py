"""What a mail program, a mailbox provider or a reader in the dark would object to in a letter."""

import html
import re
from email import message_from_bytes, policy
from email.message import EmailMessage
from html.parser import HTMLParser

ONCE = ("From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Auto-Submitted", "Content-Language")
MONTHS = (
    "January|February|March|April|May|June|July|August|September|October|November|December|"
    "Jan|Feb|Mar|Apr|Jun|Jul|Aug|Sep|Oct|Nov|Dec|Januar|Februar|März|Mai|Juni|Juli|Oktober|Dezember"
)
DATE = re.compile(rf"\b\d{{1,2}}\.? (?:{MONTHS})(?: \d{{4}})?\b")
DISTANCE = re.compile(r"\b[\d.,]+ (?:km|mi)\b")
LINK = re.compile(r"https?://[^\s<>\"]+")
VOID = {"meta", "br", "hr", "img", "link", "input"}


def parsed(content: bytes) -> EmailMessage:
    """Return the mail, read by the strict policy of the standard library: it raises for what is no valid MIME."""
    mail = message_from_bytes(content, policy=policy.strict)
    for part in mail.walk():
        if not part.is_multipart():
            part.get_content()
    return mail


def faults(content: bytes, *, to_a_list: bool) -> list[str]:
    """Return every objection; `to_a_list`: a reader must be able to stop it at one click."""
    mail = parsed(content)
    found = [f"defect: {defect}" for part in mail.walk() for defect in part.defects]
    found += [f"header defect in {name}" for name, value in mail.items() if value.defects]
    lines = content.split(b"\r\n")
    found += ["line over 998 octets (RFC 5322 section 2.1.1)" for line in lines if len(line) > 998]
    found += ["bare line break (RFC 5322 section 2.3)" for line in lines if b"\n" in line or b"\r" in line]
    found += ["octets beyond ASCII" for line in lines if not line.isascii()]
    found += [f"{name} is not there exactly once" for name in ONCE if len(mail.get_all(name, [])) != 1]
    if mail["Auto-Submitted"] != "auto-generated":
        found.append("Auto-Submitted is not auto-generated (RFC 3834 section 5)")
    found += _of_the_list(mail) if to_a_list else []
    if mail.is_multipart():
        found += _of_both_parts(mail)
    return found


def _of_the_list(mail: EmailMessage) -> list[str]:
    found = []
    if re.fullmatch(r"<https://[^<>,\s]+>", mail["List-Unsubscribe"] or "") is None:
        found.append("List-Unsubscribe is not one https address (RFC 2369, RFC 8058 section 3.1)")
    if mail["List-Unsubscribe-Post"] != "List-Unsubscribe=One-Click":
        found.append("List-Unsubscribe-Post is not the words of RFC 8058 section 3.1")
    if mail["List-Id"] is None:
        found.append("no List-Id (RFC 2919)")
    return found


def _of_both_parts(mail: EmailMessage) -> list[str]:
    if [part.get_content_type() for part in mail.walk()] != ["multipart/alternative", "text/plain", "text/html"]:
        return ["the parts are not text first, HTML last (RFC 2046 section 5.1.4)"]
    page = mail.get_body(("html",)).get_content()
    text, shown = facts_of_text(mail.get_body(("plain",)).get_content()), facts_of_page(page)
    found = [f"{what}: text says {text[what]}, HTML {shown[what]}" for what in text if text[what] != shown[what]]
    return found + _of_page(page, mail["Content-Language"])


def facts_of_text(text: str) -> dict[str, set[str]]:
    """Return the dates, distances and links in a text."""
    return {
        "dates": set(DATE.findall(text)),
        "distances": set(DISTANCE.findall(text)),
        "links": set(LINK.findall(text)),
    }


def facts_of_page(page: str) -> dict[str, set[str]]:
    """Return the dates, distances and links that a page shows."""
    body = page.partition("<body")[2]
    shown = html.unescape(re.sub(r"<[^>]+>", " ", body))
    return facts_of_text(f"{shown} {' '.join(links_of(page))}")


def links_of(page: str) -> list[str]:
    """Return where the links of a page lead."""
    return [html.unescape(link) for link in re.findall(r'href="([^"]+)"', page)]


def _of_page(page: str, language: str) -> list[str]:
    found = [
        f"the HTML fetches or runs {tag}"
        for tag in re.findall(r"<(?:img|script|link|iframe|object|form)\b|url\(", page)
    ]
    if f'<html lang="{language}">' not in page:
        found.append("the page's language is not the letter's")
    if "color-scheme: light dark" not in page or 'name="color-scheme" content="light dark"' not in page:
        found.append("the page does not say that it can be dark")
    if re.search(
        r"(?:^|[;{\s])(?:color|background(?:-color)?)\s*:\s*(?!inherit|transparent|currentcolor)", page, re.I | re.M
    ):
        found.append("a fixed colour cannot be read in the dark")
    if not re.search(r"max-width:\s*600px", page):
        found.append("the page is not 600 px wide at most")
    if re.search(r"(?<![-\w])width:\s*\d{3,}px|\swidth=\"\d{3,}", page):
        found.append("something is wider than a phone")
    checker = _Balanced()
    checker.feed(page)
    return found + [f"tag out of order: {tag}" for tag in [*checker.wrong, *checker.open]]


class _Balanced(HTMLParser):
    """Whether every tag is closed where it belongs."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Remember what is open."""
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """It must be the last one opened."""
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)
