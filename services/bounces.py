"""What comes back to a letter: reports of mail servers, answers of absent people, complaints.

Sources: RFC 3464 (delivery status notifications), RFC 3463 (status codes), RFC 6522 (multipart/report), RFC 5965
(feedback reports), RFC 3834 (automatic answers). Older and odd servers write plain text: their usual words stand below
(common practice, no source).
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from email import message_from_bytes
from email.header import decode_header
from email.message import Message
from email.utils import getaddresses, parseaddr
from enum import StrEnum

READ_AT_MOST = 256 * 1024  # octets: what matters stands at the top, the rest is our own letter
NOTE = 300
SOFT_COUNT, SOFT_HOURS = 3, 72  # so many soft failures in so many hours count as a hard one


class Kind(StrEnum):
    """What a mail that came back means for the address."""

    HARD = "hard"  # nobody there: stop at once
    SOFT = "soft"  # not delivered this time
    DELAYED = "delayed"  # still being tried
    AUTO_REPLY = "auto_reply"  # somebody is away; the letter arrived
    COMPLAINT = "complaint"  # the reader called it unwanted
    OTHER = "other"  # nothing to act on


@dataclass(frozen=True)
class Returned:
    """One mail that came back. `addresses`: where it arrived; `message_ids`: the letters it may speak of."""

    kind: Kind
    status: str = ""  # as of RFC 3463: 5.1.1
    recipient: str = ""  # whom it could not reach, where it says so
    note: str = ""  # the other server's words
    addresses: tuple[str, ...] = ()
    message_ids: tuple[str, ...] = ()


STATUS = re.compile(r"(?<![\d.])([245])\.(\d{1,3})\.(\d{1,3})(?![\d.]*\d)")
REPLY = re.compile(r"(?<![\d.])([45])\d\d(?=[ \-#])(?!-\d)")
MESSAGE_ID = re.compile(r"<[^<>\s]{1,200}@[^<>\s]{1,200}>")
ID_LINE = re.compile(r"^[> \t]*message-id:\s*(<[^<>\s]{1,200}@[^<>\s]{1,200}>)", re.I | re.M)
# From here on a plain report repeats the letter it speaks of.
COPY = re.compile(
    r"^.{0,10}(?:this is a copy of|below this line is a copy|original message|returned message|unsent message below"
    r"|message header|urspr[uü]ngliche nachricht|headers? of the original)", re.I | re.M,
)  # fmt: skip
DAEMONS = re.compile(r"^(?:mailer-daemon|postmaster|mail-daemon|mdaemon|bounces?|double-bounce)\b", re.I)
SUBJECTS = re.compile(
    r"undeliver|deliver\w* (?:status|fail|problem|has failed|report)|returned mail|return(?:ed|ing) (?:message|to sender)"
    r"|failure notice|mail delivery|delivery (?:incomplete|delay)|delayed mail|message delay|not delivered"
    r"|nondeliver|non remis|unzustellbar|nicht zugestellt|zustellung", re.I,
)  # fmt: skip
STILL_TRIED = re.compile(
    r"(?:will|is going to|shall) (?:keep|continue|be) ?(?:on )?(?:trying|retr|to (?:re)?try|re-?tried)|need not resend"
    r"|warning message only|still (?:being )?(?:retr|try|in the queue)|has not yet been delivered|delivery .{0,40}delayed"
    r"|wird weiter versucht|noch nicht zugestellt", re.I,
)  # fmt: skip
FULL = re.compile(r"(?:mailbox|inbox|postfach|user|account)\b.{0,40}\b(?:full|voll\b|over ?quota)|quota exceeded|over quota|"
                  r"exceeded .{0,30}(?:quota|storage)", re.I)  # fmt: skip
NOBODY = re.compile(
    r"(?:no such|unknown|invalid|non-?existent) (?:user|recipient|address|account|mailbox|person)"
    r"|(?:user|recipient|address|account|mailbox|domain|host)\b.{0,60}\b(?:unknown|not (?:be )?found|does ?n[o']t exist"
    r"|not exist|disabled|inactive|unavailable|rejected)|no (?:mailbox|account) (?:here )?by that name"
    r"|not a valid (?:user|recipient|mailbox)|permanent(?:ly)? (?:error|failure|fatal)|unbekannt|existiert nicht"
    r"|couldn'?t be found|is not (?:known|valid)", re.I,
)  # fmt: skip
AWAY = re.compile(
    r"^(?:auto(?:matic|mated|mat(?:ische|ed))?[- :]|out of (?:the )?office|away from|abwesen|on (?:holiday|vacation|leave)"
    r"|r[ée]ponse automatique|respuesta autom|risposta automatica|vacation\b)|\bout of (?:the )?office\b|automatic reply", re.I,
)  # fmt: skip


def read_returned(content: bytes) -> Returned:
    """Return what a mail that came back says. Never raises, whatever the octets are."""
    mail = message_from_bytes(content[:READ_AT_MOST])
    kind, status, recipient, note = _judged(mail)
    return Returned(
        kind, status, _address(recipient), " ".join(note.split())[:NOTE], _arrived_at(mail), _speaks_of(mail)
    )


def settled_kind(kind: Kind, status: str) -> Kind:
    """Return `kind` with the status code thought of: a full mailbox is no dead one, whatever its first digit (RFC 3463)."""
    full = status.endswith(".2.2") and status.startswith("5.")
    return Kind.SOFT if kind is Kind.HARD and full else kind


Verdict = tuple[Kind, str, str, str]


def _judged(mail: Message) -> Verdict:
    feedback = _first(mail, "message/feedback-report")
    if feedback is not None:
        return _complaint(feedback)
    for type_ in ("message/delivery-status", "message/global-delivery-status"):
        report = _first(mail, type_)
        if report is not None:
            verdict = _of_report(_blocks(report))
            if verdict is not None:
                return verdict
    return _of_text(mail)


def _complaint(part: Message) -> Verdict:
    fields = _blocks(part)
    named = {name: value for block in reversed(fields) for name, value in block.items()}
    kind = Kind.OTHER if named.get("feedback-type", "abuse").strip().lower() == "not-spam" else Kind.COMPLAINT
    return kind, "", named.get("original-rcpt-to", ""), f"Feedback: {named.get('feedback-type', 'abuse')}"


ORDER = (Kind.HARD, Kind.SOFT, Kind.DELAYED, Kind.OTHER)  # of several recipients, the worst counts


def _of_report(blocks: list[dict[str, str]]) -> Verdict | None:
    """The verdict of the per-recipient fields of RFC 3464 section 2.3; None where there are none that can be read."""
    told = [_of_recipient(block) for block in blocks if "action" in block or "status" in block]
    return min(told, key=lambda verdict: ORDER.index(verdict[0])) if told else None


def _of_recipient(block: dict[str, str]) -> Verdict:
    said = block.get("diagnostic-code", "").partition(";")[2] or block.get("diagnostic-code", "")
    status = _status_in(block.get("status", "")) or _status_in(said)
    action = block.get("action", "").strip().lower().split(" ")[0]
    recipient = block.get("original-recipient") or block.get("final-recipient", "")
    kind = {"delayed": Kind.DELAYED, "delivered": Kind.OTHER, "relayed": Kind.OTHER, "expanded": Kind.OTHER}.get(action)
    if kind is None:
        kind = _kind_of_code(status, said)
    return settled_kind(kind, status), status, recipient, said or status or action


def _kind_of_code(status: str, said: str) -> Kind:
    """Hard where the status or the server's reply begins with 5, soft otherwise: a failure that does not say why is soft."""
    if status[:1] == "2":
        return Kind.OTHER
    reply = REPLY.match(said.strip())
    digit = status[:1] or (reply.group(1) if reply else "")
    return Kind.HARD if digit == "5" else Kind.SOFT


def _of_text(mail: Message) -> Verdict:
    """The verdict of a mail without a report that can be read."""
    sender = parseaddr(_header(mail, "From"))[1]
    failed = _header(mail, "X-Failed-Recipients")
    subject = _header(mail, "Subject")
    by_machine = bool(failed or DAEMONS.match(sender) or _header(mail, "Return-Path").strip() == "<>")
    if failed or (by_machine and SUBJECTS.search(subject)) or (by_machine and not _says_away(mail, subject)):
        return _of_words(COPY.split(_text(mail), maxsplit=1)[0], subject, failed)
    if SUBJECTS.search(subject) and _status_in(_text(mail)):
        return _of_words(COPY.split(_text(mail), maxsplit=1)[0], subject, failed)
    if _says_away(mail, subject):
        return Kind.AUTO_REPLY, "", "", subject
    return Kind.OTHER, "", "", subject


def _of_words(text: str, subject: str, failed: str) -> Verdict:
    whole = f"{subject}\n{text}"
    status = _status_in(text)
    line = next((line for line in text.splitlines() if STATUS.search(line) or REPLY.search(line)), "") or subject
    if STILL_TRIED.search(whole):
        return Kind.DELAYED, status, failed, line
    if status:
        return settled_kind(_kind_of_code(status, ""), status), status, failed, line
    if FULL.search(whole):
        return Kind.SOFT, "", failed, line
    reply = REPLY.search(text)
    if reply is not None:
        return (Kind.HARD if reply.group(1) == "5" else Kind.SOFT), "", failed, line
    if NOBODY.search(whole):
        return Kind.HARD, "", failed, line
    return (Kind.SOFT if failed or SUBJECTS.search(subject) else Kind.OTHER), "", failed, line


def _says_away(mail: Message, subject: str) -> bool:
    """Whether it is an automatic answer (RFC 3834 section 5, and what older programs write)."""
    said = _header(mail, "Auto-Submitted").strip().lower()
    if said and said != "no":
        return True
    older = any(mail.get(name) is not None for name in ("X-Autoreply", "X-Autorespond", "X-Auto-Response"))
    precedence = _header(mail, "Precedence").strip().lower()
    return older or precedence in {"auto_reply", "auto-reply"} or bool(AWAY.search(subject.strip()))


# Reading what may be broken


def _first(mail: Message, type_: str) -> Message | None:
    return next((part for part in _parts(mail) if part.get_content_type() == type_), None)


def _parts(mail: Message) -> Iterator[Message]:
    """The parts of a mail, those of the letter it returns left out."""
    yield mail
    if mail.is_multipart() and not mail.get_content_type().startswith("message/"):
        for part in mail.get_payload():
            yield from _parts(part)


def _blocks(part: Message) -> list[dict[str, str]]:
    """The groups of fields in a report, names in small letters. Read as text again: servers write blank lines anywhere."""
    inner = part.get_payload()
    text = "\n\n".join(map(_written_out, inner)) if isinstance(inner, list) else _decoded(part)
    blocks: list[dict[str, str]] = [{}]
    name = ""
    for line in text.splitlines():
        if not line.strip():
            blocks.append({})
        elif line[0] in " \t" and name:
            blocks[-1][name] = f"{blocks[-1].get(name, '')} {line.strip()}"
        elif ":" in line:
            name, _, value = line.partition(":")
            name = name.strip().lower()
            blocks[-1].setdefault(name, value.strip())
    return blocks


def _written_out(block: Message) -> str:
    fields = "\n".join(f"{name}: {' '.join(str(value).split())}" for name, value in block.items())
    return f"{fields}\n\n{_decoded(block)}"


def _decoded(part: Message) -> str:
    """The text of one part, whatever its encoding claims."""
    payload = part.get_payload(decode=True) or b""
    try:
        return payload.decode(part.get_content_charset() or "utf-8", "replace")
    except (LookupError, UnicodeError, ValueError):  # a character set nobody knows
        return payload.decode("latin-1")


def _text(mail: Message) -> str:
    """What the mail itself says in words; HTML only where there is nothing else."""
    parts = [part for part in _parts(mail) if part.get_content_maintype() == "text"]
    plain = [_decoded(part) for part in parts if part.get_content_subtype() == "plain"]
    pages = [re.sub(r"<[^>]*>", " ", _decoded(part)) for part in parts if part.get_content_subtype() == "html"]
    return "\n".join(plain or pages)


def _header(mail: Message, name: str) -> str:
    """One header in readable characters."""
    raw = str(mail.get(name, ""))
    try:
        pieces = decode_header(raw)
        return "".join(
            piece.decode(charset or "latin-1", "replace") if isinstance(piece, bytes) else piece
            for piece, charset in pieces
        )
    except Exception:  # encoded words that are not: the library raises half a dozen kinds
        return raw


def _status_in(text: str) -> str:
    found = STATUS.search(text)
    return ".".join(found.groups()) if found else ""


def _address(text: str) -> str:
    """The address of 'rfc822;somebody@example.org' and its like."""
    return text.rpartition(";")[2].strip().strip("<>").lower()[:254]


def _arrived_at(mail: Message) -> tuple[str, ...]:
    """Where the mail was sent to: our sender address of the letter, with its token."""
    names = ("To", "Delivered-To", "X-Original-To", "Envelope-To", "Cc")
    lines = [str(value) for name in names for value in mail.get_all(name, [])]
    feedback = _first(mail, "message/feedback-report")
    if feedback is not None:
        lines += [block["original-mail-from"] for block in _blocks(feedback) if "original-mail-from" in block]
    return tuple(dict.fromkeys(address.lower() for _, address in getaddresses(lines) if address))


def _speaks_of(mail: Message) -> tuple[str, ...]:
    """The Message-IDs of the letters it speaks of: in what is returned, in its words, in what it answers."""
    found: list[str] = []
    for part in mail.walk():
        if part is not mail and part.get_content_type() not in {"message/rfc822", "text/rfc822-headers"}:
            found += MESSAGE_ID.findall(str(part.get("Message-ID", "")))
        if part.get_content_maintype() == "text":
            found += ID_LINE.findall(_decoded(part))
    for name in ("In-Reply-To", "References", "Original-Message-ID"):
        found += MESSAGE_ID.findall(str(mail.get(name, "")))
    return tuple(dict.fromkeys(found))[:20]
