"""What stands on a trike's label, and which trike a label's code belongs to."""

from django.conf import settings

from services.plate_label import Words
from tracker.models import Trike

LONGEST_CODE = 26


def trike_by_label(code: str) -> Trike | None:
    """Return the trike whose label carries this code now, as scanned or typed in any case; None for any other text."""
    text = code.strip().upper()
    if not (text.isascii() and text.isalnum() and len(text) <= LONGEST_CODE):
        return None
    return Trike.objects.filter(label_code=text).first()


def address_of(trike: Trike) -> str:
    """Return the address in the QR code of a trike's label."""
    return f"{settings.PUBLIC_URL}/t/{trike.label_code}/"


def words_of(trike: Trike) -> Words:
    """Return what is printed beside the code: the plate and how to reach the workshop, no serial, no owner."""
    return Words(trike.plate or "", settings.WORKSHOP_NAME, settings.WORKSHOP_PHONE)
