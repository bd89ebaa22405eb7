"""Photos as pages and checks read them."""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from django.conf import settings
from django.db.models import QuerySet

from tracker.models import JobCard, LogEntry, Photo, ReadingPhoto


@dataclass(frozen=True)
class PhotoFault:
    """A photo that is not what it was, and why."""

    card: str
    photo: str
    why: str


def photos_of(card_id: int) -> QuerySet[Photo]:
    """Return the photos of a card in the order they were taken in, with all a page shows."""
    return Photo.objects.filter(card_id=card_id).select_related("component__part_type", "added_by").order_by("pk")


def photo_file(photo: Photo | ReadingPhoto) -> Path | None:
    """Return where the file of a photo lies, or None where it is gone."""
    path = Path(settings.PHOTO_FOLDER) / Path(photo.name).name
    return path if path.is_file() else None


def photo_faults() -> Iterator[PhotoFault]:
    """Yield every photo whose file is gone or changed, and every signed one that its logbook entry does not know.

    Three queries for the whole record; each file is read once.
    """
    signed = _signed_hashes()
    for photo in Photo.objects.select_related("card").order_by("card_id", "pk").iterator(chunk_size=500):
        number = photo.card.number
        why = _fault_of(photo)
        if why:
            yield PhotoFault(number, f"photo {photo.pk}", why)
        if photo.card.state == JobCard.State.SIGNED and photo.sha256 not in signed.get(number, set()):
            yield PhotoFault(number, f"photo {photo.pk}", "the signed entry does not name it")
        signed.get(number, set()).discard(photo.sha256)
    for number, hashes in sorted(signed.items()):
        for missing in sorted(hashes):
            yield PhotoFault(
                number, f"photo with SHA-256 {missing[:12]}...", "it was signed and is no longer on record"
            )


def _fault_of(photo: Photo) -> str:
    path = photo_file(photo)
    if path is None:
        return "its file is gone"
    return "" if sha256(path.read_bytes()).hexdigest() == photo.sha256 else "its file was changed after it was taken in"


def _signed_hashes() -> dict[str, set[str]]:
    """Card number -> hashes of the photos its signed entry names."""
    entries = LogEntry.objects.filter(kind="job_card_signed", body__has_key="photos").values_list("body", flat=True)
    return {body["card"]: {photo["sha256"] for photo in body["photos"]} for body in entries.iterator(chunk_size=500)}
