"""Letters to a real mail server. What it answers is told apart: surely not sent, refused for good, or nobody knows."""

import smtplib
from dataclasses import dataclass

from django.core.mail import get_connection

from tracker.actions.posting import Delivery, Letter, Outcome

LINE = 300  # characters of the server's answer that are kept


@dataclass(frozen=True)
class SmtpChannel:
    """One connection per letter, with the host, port, login and TLS of the EMAIL_ settings."""

    def send(self, letter: Letter) -> Delivery:
        """Send the letter and say what the server answered."""
        mail = get_connection("django.core.mail.backends.smtp.EmailBackend")
        try:
            mail.open()
        except smtplib.SMTPAuthenticationError as error:
            return Delivery(Outcome.LATER, f"The mail server refused our login: {words(error)}")
        except (OSError, smtplib.SMTPException) as error:
            return Delivery(Outcome.LATER, f"No connection to the mail server: {words(error)}")
        try:
            return _hand_over(mail.connection, letter)
        finally:
            _hang_up(mail)


def _hand_over(server: smtplib.SMTP, letter: Letter) -> Delivery:
    try:
        server.sendmail(letter.sender, [letter.recipient], letter.content)
    except smtplib.SMTPRecipientsRefused as error:
        code, answer = next(iter(error.recipients.values()))
        return Delivery(Outcome.DEAD if code >= 500 else Outcome.LATER, _answer(code, answer))
    except smtplib.SMTPResponseException as error:  # the sender or the letter itself
        return Delivery(Outcome.REFUSED if error.smtp_code >= 500 else Outcome.LATER, words(error))
    except (UnicodeError, smtplib.SMTPNotSupportedError):
        return Delivery(Outcome.REFUSED, "The address has letters that this mail server cannot take.")
    except (OSError, smtplib.SMTPException) as error:
        return Delivery(Outcome.UNKNOWN, f"The line broke while sending: {words(error)}")
    return Delivery(Outcome.SENT)


def _hang_up(mail) -> None:
    try:
        mail.close()
    except (OSError, smtplib.SMTPException):
        mail.connection = None  # the letter's fate is known; how the line ended does not matter


def words(error: Exception) -> str:
    """Return a mail error in one line: the server's code and answer where it gave one."""
    if isinstance(error, smtplib.SMTPResponseException):
        return _answer(error.smtp_code, error.smtp_error)
    return (getattr(error, "strerror", None) or str(error) or type(error).__name__)[:LINE]


def _answer(code: int, answer: bytes | str) -> str:
    text = answer.decode(errors="replace") if isinstance(answer, bytes) else answer
    return f"{code} {' '.join(text.split())}"[:LINE]
