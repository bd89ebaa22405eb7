"""Mails that come back, made here: reports as RFC 3464 has them, and the plain words of older servers."""

LETTER_ID = "<5f0c1c5e-7f0a-4b07-9d7e-1d3f2a9c0001@larkfen.example.org>"
SENDER = "bounce+5f0c1c5e7f0a4b079d7e1d3f2a9c0001@larkfen.example.org"
RIDER = "rider@example.net"
ORIGINAL = (
    f"Message-ID: {LETTER_ID}\nFrom: Larkfen Trikeworks <service@larkfen.example.org>\nTo: {RIDER}\n"
    "Subject: Your trike is due, 5.1.1 of 550 things\nList-Unsubscribe: <https://service.example.org/o/stop/x>\n"
)


def octets(text: str) -> bytes:
    return text.replace("\n", "\r\n").encode()


def dsn(
    recipient_fields: str, *, returned: str = "message/rfc822", words: str = "It did not arrive.", **more: str
) -> bytes:
    """A report as RFC 3464 has it: words, fields, the letter or its head."""
    head = "".join(f"{name.replace('_', '-')}: {value}\n" for name, value in more.items())
    inner = ORIGINAL + ("\nHello, 550 5.1.1\n" if returned == "message/rfc822" else "\n")
    return octets(
        f"Return-Path: <>\nFrom: MAILER-DAEMON@mx.example.net\nTo: {SENDER}\nSubject: Undelivered Mail\n{head}"
        "Auto-Submitted: auto-replied\nMIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="b"\n\n'
        f"--b\nContent-Type: text/plain\n\n{words}\n--b\nContent-Type: message/delivery-status\n\n"
        f"Reporting-MTA: dns; mx.example.net\nArrival-Date: Fri, 1 May 2026 10:00:00 +0000\n\n{recipient_fields}\n"
        f"--b\nContent-Type: {returned}\n\n{inner}--b--\n"
    )


def fields(action: str, status: str, said: str = "", recipient: str = RIDER) -> str:
    """Per-recipient fields (RFC 3464 section 2.3)."""
    diagnostic = f"Diagnostic-Code: smtp; {said}\n" if said else ""
    return f"Final-Recipient: rfc822; {recipient}\nAction: {action}\nStatus: {status}\n{diagnostic}"


def plain(
    subject: str, body: str, *, sender: str = "MAILER-DAEMON@mx.example.net", copy: str = "", **more: str
) -> bytes:
    """Words alone; the letter follows where `copy` introduces it."""
    head = "".join(f"{name.replace('_', '-')}: {value}\n" for name, value in more.items())
    tail = f"\n{copy}\n\n{ORIGINAL}\nHello 5.1.1\n" if copy else ""
    return octets(
        f"From: Mail System <{sender}>\nTo: {SENDER}\nSubject: {subject}\n{head}"
        f"MIME-Version: 1.0\nContent-Type: text/plain; charset=utf-8\n\n{body}\n{tail}"
    )


def answer(subject: str, **more: str) -> bytes:
    """What an absent rider's program writes."""
    head = "".join(f"{name.replace('_', '-')}: {value}\n" for name, value in more.items())
    return octets(
        f"From: Rider <{RIDER}>\nTo: {SENDER}\nSubject: {subject}\nIn-Reply-To: {LETTER_ID}\n{head}"
        "Content-Type: text/plain\n\nI am away until the 5th. Call 550 1234.\n"
    )


def complaint(type_: str = "abuse") -> bytes:
    """A feedback report as RFC 5965 has it."""
    return octets(
        f"From: <feedback@isp.example.net>\nTo: {SENDER}\nSubject: FW: Your trike\nMIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=feedback-report; boundary="b"\n\n'
        "--b\nContent-Type: text/plain\n\nThis is an email abuse report.\n"
        f"--b\nContent-Type: message/feedback-report\n\nFeedback-Type: {type_}\nUser-Agent: Loop/1.0\nVersion: 1\n"
        f"Original-Mail-From: <{SENDER}>\nOriginal-Rcpt-To: <{RIDER}>\n\n"
        f"--b\nContent-Type: message/rfc822\n\n{ORIGINAL}\nHello\n--b--\n"
    )


AGAIN = "------ This is a copy of the message, including all the headers. ------"
# name -> (mail, kind, status)
SAMPLES: dict[str, tuple[bytes, str, str]] = {
    # Reports
    "nobody there": (dsn(fields("failed", "5.1.1", "550 5.1.1 No such user")), "hard", "5.1.1"),
    "no such domain": (dsn(fields("failed", "5.1.2")), "hard", "5.1.2"),
    "moved": (dsn(fields("failed", "5.1.6")), "hard", "5.1.6"),
    "mailbox disabled": (dsn(fields("failed", "5.2.1")), "hard", "5.2.1"),
    "not allowed": (dsn(fields("failed", "5.7.1", "554 5.7.1 Rejected")), "hard", "5.7.1"),
    "full, said with a 5": (dsn(fields("failed", "5.2.2", "552 5.2.2 Over quota")), "soft", "5.2.2"),
    "full, said with a 4": (dsn(fields("failed", "4.2.2")), "soft", "4.2.2"),
    "tried too long": (dsn(fields("failed", "4.4.7")), "soft", "4.4.7"),
    "no route": (dsn(fields("failed", "4.4.1", "connect to 192.0.2.5: timed out")), "soft", "4.4.1"),
    "status alone in the diagnostic": (dsn(fields("failed", "", "550 5.1.1 unknown")), "hard", "5.1.1"),
    "a reply code and no status": (dsn(fields("failed", "", "550 unknown user")), "hard", ""),
    "a 4xx reply and no status": (dsn(fields("failed", "", "450 try later")), "soft", ""),
    "failed, and nothing more": (dsn(fields("failed", "")), "soft", ""),
    "action in capitals": (dsn(fields("FAILED", "5.1.1")), "hard", "5.1.1"),
    "action with a remark": (dsn(fields("failed (bounced)", "5.1.1")), "hard", "5.1.1"),
    "status with a remark": (dsn(fields("failed", "5.1.1 (bad mailbox)")), "hard", "5.1.1"),
    "no action": (dsn(f"Final-Recipient: rfc822; {RIDER}\nStatus: 5.1.1\n"), "hard", "5.1.1"),
    "delayed": (dsn(fields("delayed", "4.4.1"), words="Will be retried."), "delayed", "4.4.1"),
    "delayed, with a 5": (dsn(fields("delayed", "5.0.0")), "delayed", "5.0.0"),
    "delivered": (dsn(fields("delivered", "2.0.0")), "other", "2.0.0"),
    "relayed": (dsn(fields("relayed", "2.0.0")), "other", "2.0.0"),
    "expanded": (dsn(fields("expanded", "2.0.0")), "other", "2.0.0"),
    "failed with a 2": (dsn(fields("failed", "2.0.0")), "other", "2.0.0"),
    "head of the letter only": (dsn(fields("failed", "5.1.1"), returned="text/rfc822-headers"), "hard", "5.1.1"),
    "folded diagnostic": (dsn(fields("failed", "5.1.1", "550-5.1.1 The account\n  does not exist")), "hard", "5.1.1"),
    "two recipients, one worse": (dsn(fields("delayed", "4.4.1") + "\n" + fields("failed", "5.1.1")), "hard", "5.1.1"),
    "an extra blank line": (dsn("\n" + fields("failed", "5.1.1")), "hard", "5.1.1"),
    "no sender given": (dsn(fields("failed", "5.1.1")).replace(b"MAILER-DAEMON@mx.example.net", b""), "hard", "5.1.1"),
    "in other scripts (RFC 6533)": (
        dsn(fields("failed", "5.1.1")).replace(b"message/delivery-status", b"message/global-delivery-status"),
        "hard", "5.1.1",
    ),
    "report without a recipient's fields": (dsn("X-Nothing: here\n", words="550 5.1.1 no such user"), "hard", "5.1.1"),
    "a line that is no field": (
        dsn("what happened\n" + fields("failed", "5.1.1", "550-5.1.1 The account\n  does not exist")), "hard", "5.1.1"
    ),
    # Words
    "gave up": (
        plain("failure notice", f"Hi. This is the program at mx.example.net.\nI'm afraid I wasn't able to deliver.\n<{RIDER}>:\n"
              "Sorry, no mailbox here by that name. (#5.1.1)", copy="--- Below this line is a copy of the message."),
        "hard", "5.1.1",
    ),
    "permanent error without a code": (
        plain("failure notice", "A permanent error; I've given up.", copy="--- Below this line is a copy of the message."),
        "hard", "",
    ),
    "failed recipients on the head": (
        plain("Mail delivery failed: returning message to sender", f"{RIDER}\n  host mx [192.0.2.7] said:\n  550 Unknown user",
              copy=AGAIN, X_Failed_Recipients=RIDER, Auto_Submitted="auto-replied"),
        "hard", "",
    ),
    "failed, only the letter has codes": (
        plain("Mail delivery failed", "A message could not be delivered.", copy=AGAIN, X_Failed_Recipients=RIDER),
        "soft", "",
    ),
    "still tried": (
        plain("Warning: message delayed 24 hours", "No action is required. The server will keep trying. 451 4.4.1", copy=AGAIN),
        "delayed", "4.4.1",
    ),
    "warning only": (
        plain("Warning: could not send message for past 4 hours", "THIS IS A WARNING MESSAGE ONLY"), "delayed", ""
    ),
    "quota in words": (plain("Undeliverable: Your trike", "The user's mailbox is full."), "soft", ""),
    "a 4xx in words": (plain("Returned mail", "452 insufficient storage"), "soft", ""),
    "a 5xx in words": (plain("Returned mail: see details below", "550 <rider@example.net>... refused"), "hard", ""),
    "no such user in words": (plain("Undelivered", "The address rider@example.net does not exist."), "hard", ""),
    "German words": (plain("Unzustellbar: Ihr Rad", "Der Empfänger ist unbekannt."), "hard", ""),
    "from the postmaster": (
        plain("Delivery Status Notification (Failure)", "550 5.4.1 Recipient address rejected", sender="postmaster@example.net"),
        "hard", "5.4.1",
    ),
    "from anybody, with a code": (plain("Undeliverable mail", "5.1.1 no such person", sender="it@example.net"), "hard", "5.1.1"),
    "an address in numbers is no code": (
        plain("Undeliverable mail", "Connection to 5.1.1.25 was lost on port 25", X_Failed_Recipients=RIDER), "soft", "",
    ),
    "words of a page": (
        plain("Undeliverable mail", "<p>550 <b>5.1.1</b> unknown</p>").replace(b"text/plain", b"text/html"), "hard", "5.1.1"
    ),
    "a machine with nothing to say": (plain("Notice", "Maintenance on Friday."), "other", ""),
    "an unknown character set": (
        plain("Returned mail", "550 5.1.1 gone").replace(b"charset=utf-8", b"charset=x-nowhere"), "hard", "5.1.1"
    ),
    # Answers and complaints
    "away (RFC 3834)": (answer("Re: Your trike", Auto_Submitted="auto-replied"), "auto_reply", ""),
    "away, older program": (answer("Re: Your trike", X_Autoreply="yes"), "auto_reply", ""),
    "away, by precedence": (answer("Re: Your trike", Precedence="auto_reply"), "auto_reply", ""),
    "away, by subject": (answer("Out of Office: Your trike"), "auto_reply", ""),
    "away, in German": (answer("Abwesenheitsnotiz: Ihr Rad"), "auto_reply", ""),
    "away, subject encoded": (answer("=?utf-8?B?QXV0b21hdGljIHJlcGx5OiB0cmlrZQ==?="), "auto_reply", ""),
    "away, null sender": (answer("Automatic reply: trike", Return_Path="<>"), "auto_reply", ""),
    "a person answers": (answer("Re: Your trike", Auto_Submitted="no"), "other", ""),
    "a broken encoded subject": (answer("=?utf-8?B?!!!?= hello"), "other", ""),
    "a subject in no known character set": (answer("=?nowhere?Q?Automatic?= reply"), "other", ""),
    "complaint": (complaint(), "complaint", ""),
    "complaint: fraud": (complaint("fraud"), "complaint", ""),
    "taken back": (complaint("not-spam"), "other", ""),
    # Oddities
    "nothing at all": (b"", "other", ""),
    "no head": (b"hello", "other", ""),
    "only zeros": (b"\0" * 100, "other", ""),
}  # fmt: skip
