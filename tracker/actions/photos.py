"""Photos of a card: added while it is a draft, sealed by its signature, each file under a random name."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

from django.db import transaction

from services.identity import clean_text
from tracker.actions.card_steps import draft_card, touch
from tracker.actions.photo_files import folder, remove_photo, write_photo
from tracker.actions.pictures import Picture, encoded_anew
from tracker.actions.refusals import Invalid, NotThisTrike
from tracker.actions.release_refusals import TooManyPhotos
from tracker.actions.transactions import action
from tracker.models import Fitment, JobCard, Photo, ReadingPhoto, Swap, User

MOST_PHOTOS = 20  # a card
NEW_FOR = timedelta(hours=1)  # a file this young may belong to a transaction that is still open


def add_photo(
    *, card_id: int, content: bytes, caption: str = "", component_id: int | None = None, by: User | None, now: datetime
) -> Photo:
    """Take a picture into the card: read, encoded anew, kept. Raises the refusals of keep_photo, PhotoRefused, PhotoTooLarge.

    It is unpacked before the transaction begins: that takes longer than anything else here.
    """
    picture = encoded_anew(content)
    return keep_photo(card_id=card_id, picture=picture, caption=caption, component_id=component_id, by=by, now=now)


def keep_photo(
    *,
    card_id: int,
    picture: Picture,
    caption: str = "",
    component_id: int | None = None,
    by: User | None,
    now: datetime,
) -> Photo:
    """Keep a picture that was encoded anew. The same one again changes nothing and is returned as it stands.

    Raises CardAlreadySigned, TooManyPhotos, NotThisTrike (the component has nothing to do with the card), BadText.
    """
    name = write_photo(picture.content)
    try:
        photo = _keep_row(
            card_id=card_id, picture=picture, name=name, caption=caption, component_id=component_id, by=by, now=now
        )
    except BaseException:
        remove_photo(name)
        raise
    if photo.name != name:
        remove_photo(name)
    return photo


@action
def _keep_row(
    *, card_id: int, picture: Picture, name: str, caption: str, component_id: int | None, by: User | None, now: datetime
) -> Photo:
    card = draft_card(card_id)
    _check_component(card, component_id)
    same = Photo.objects.filter(card=card, sha256=picture.sha256).first()
    if same is not None:
        return same
    if card.photos.count() >= MOST_PHOTOS:
        raise TooManyPhotos(
            f"The card holds {MOST_PHOTOS} photos.",
            field="file",
            remedy="Remove one that tells less, then add this one.",
        )
    photo = Photo.objects.create(
        card=card, component_id=component_id, name=name, sha256=picture.sha256, width=picture.width,
        height=picture.height, size_bytes=len(picture.content), caption=clean_text(caption, 200), added_at=now,
        added_by=by,
    )  # fmt: skip
    touch(card)
    return photo


def _check_component(card: JobCard, component_id: int | None) -> None:
    """A photo shows a part of this trike, present or past, or one that this card fits to it."""
    if component_id is None or Fitment.objects.filter(trike_id=card.trike_id, component_id=component_id).exists():
        return
    if not Swap.objects.filter(card=card, new_component_id=component_id).exists():
        raise NotThisTrike(
            f"This component does not sit on trike {card.trike}.", field="component",
            remedy="Choose one of its components.",
        )  # fmt: skip


@action
def drop_photo(*, card_id: int, photo_id: int, by: User | None, now: datetime) -> JobCard:
    """Take a photo off a draft; its file goes when that is certain. Raises CardAlreadySigned, Invalid."""
    card = draft_card(card_id)
    photo = Photo.objects.filter(card=card, pk=photo_id).first()
    if photo is None:
        raise Invalid("There is no such photo on this card.", field="id", remedy="Look at the card again.")
    name = photo.name
    photo.delete()
    transaction.on_commit(lambda: remove_photo(name))
    return touch(card)


def forget_lost_files(*, now: datetime) -> int:
    """Remove files that no photo owns: a crash between file and record left them. Return how many went."""
    old = [path for path in folder().iterdir() if _changed_at(path) < (now - NEW_FOR).timestamp()]
    lost = _without_a_row(old)
    for path in lost:
        path.unlink(missing_ok=True)
    return len(lost)


def _changed_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except FileNotFoundError:  # removed meanwhile
        return float("inf")


def _without_a_row(paths: Iterable[Path]) -> list[Path]:
    owned = {*Photo.objects.values_list("name", flat=True), *ReadingPhoto.objects.values_list("name", flat=True)}
    return [path for path in paths if path.suffix in {".jpg", ".part"} and path.name not in owned]
