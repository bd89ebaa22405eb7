"""An owner's reading with a picture of the display: encoded anew like a card's photos, kept beside the reading it shows.

While an unlikely reading is asked about, the picture waits in the photo folder without a record, one per link: nobody has
to choose the file again. What nobody came back for goes at night with other files that no photo owns.
"""

import io
from datetime import datetime
from decimal import Decimal

from PIL import Image

from tracker.actions.photo_files import read_photo, remove_photo, write_photo
from tracker.actions.pictures import Picture, encoded_anew
from tracker.actions.reading_photo_steps import forget_reading_photos
from tracker.actions.refusals import WrongState
from tracker.actions.steps import lock_version, refresh_due
from tracker.actions.transactions import action
from tracker.actions.usage import keep_reading
from tracker.models import OdometerReading, OwnerLink, ReadingPhoto, Trike, User

LONG_EDGE = (
    1_600  # pixels: the digits of a display that fills a tenth of the picture can be read (common practice, no source)
)
MOST_KEPT = 30  # an owner and trike; then the oldest goes


def picture_of_display(content: bytes) -> Picture:
    """Return the picture in `content` as it is kept. Raises PhotoRefused, PhotoTooLarge."""
    return encoded_anew(content, long_edge=LONG_EDGE)


def record_owner_reading(
    *, link: OwnerLink, value: Decimal | float, unit: str, answer: str | None, picture: Picture | None = None, now: datetime
) -> OdometerReading:  # fmt: skip
    """Record what the owner of `link` reads off the display, with the picture where one was sent.

    Raises what usage.record_reading raises; then nothing is kept, not the picture either.
    """
    name = write_photo(picture.content) if picture else ""
    try:
        reading = _record(link, value, unit, answer, picture, name, now)
    except BaseException:
        if name:
            remove_photo(name)
        raise
    remove_photo(_waiting_name(link))
    return reading


@action
def _record(
    link: OwnerLink, value: Decimal | float, unit: str, answer: str | None, picture: Picture | None, name: str, now: datetime
) -> OdometerReading:  # fmt: skip
    trike = lock_version(Trike, link.trike_id, None)
    reading = keep_reading(trike, value, unit, now, "owner", None, now, answer=answer)
    if picture is not None:
        ReadingPhoto.objects.create(
            reading=reading, owner_id=link.owner_id, name=name, sha256=picture.sha256, width=picture.width,
            height=picture.height, size_bytes=len(picture.content), added_at=now,
        )  # fmt: skip
        mine = ReadingPhoto.objects.filter(owner_id=link.owner_id, reading__trike=trike).order_by("-added_at", "-pk")
        forget_reading_photos(mine[MOST_KEPT:])
    if reading.verdict == OdometerReading.Verdict.ACCEPTED:
        refresh_due([trike.pk], now)
    return reading


@action
def drop_reading_photo(*, reading_id: int, by: User | None, now: datetime) -> OdometerReading:
    """Remove the picture of a reading, as its owner may ask; the reading stays. Raises WrongState where there is none."""
    if not forget_reading_photos(ReadingPhoto.objects.filter(reading_id=reading_id)):
        raise WrongState("This reading has no picture.", field="id", remedy="Somebody else removed it already.")
    return OdometerReading.objects.get(pk=reading_id)


# The picture that waits


def let_wait(link: OwnerLink, picture: Picture) -> str:
    """Keep a picture until its owner answers the question about the reading; return what the form carries to claim it."""
    write_photo(picture.content, _waiting_name(link))
    return picture.sha256


def waiting(link: OwnerLink, seal: str) -> Picture | None:
    """Return the picture that waits for the owner of `link`, if it is the one the form speaks of."""
    content = read_photo(_waiting_name(link)) if seal else None
    if content is None:
        return None
    with Image.open(io.BytesIO(content)) as image:  # one that this service wrote itself
        picture = Picture(content, image.width, image.height)
    return picture if picture.sha256 == seal else None


def _waiting_name(link: OwnerLink) -> str:
    return f"waiting-{link.pk}.jpg"
