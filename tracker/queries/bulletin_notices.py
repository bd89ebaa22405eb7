"""What an owner is told about a bulletin: in a letter, on the trike's page, and in the preview before it is released."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from services.bulletins import HEADLINE
from services.language import ENGLISH, say, spoken
from services.positions import POSITIONS
from tracker.models import Bulletin, BulletinNotice, BulletinPart, BulletinText, Component, Fitment
from tracker.queries.bulletin_parts import open_parts
from tracker.queries.clock import local_date


@dataclass(frozen=True)
class NamedPart:
    """A part of the owner's trike that a bulletin names; not sure: it cannot be excluded."""

    place: str
    name: str
    serial: str
    is_sure: bool

    @property
    def words(self) -> str:
        """The part in a line: 'Rear shock: Air shock LF-9, serial S100'."""
        return f"{self.place}: {self.name}, {self.serial}" if self.place else f"{self.name}, {self.serial}"


@dataclass(frozen=True)
class NoticeTold:
    """A bulletin in the owner's words. `minutes`: bench time of all its parts on the trike; read_at: when the owner said so."""

    bulletin: Bulletin
    words: Bulletin | BulletinText  # its title, hazard, stop_riding and remedy as the owner reads them
    headline: str
    day: date
    parts: tuple[NamedPart, ...]
    minutes: int
    read_at: datetime | None = None
    asks_to_be_read: bool = False

    @property
    def language(self) -> str:
        """In which language somebody wrote the words."""
        return getattr(self.words, "language", ENGLISH)

    @property
    def is_sure(self) -> bool:
        """Whether one of the parts is known to be affected."""
        return any(part.is_sure for part in self.parts)

    @property
    def stops_riding(self) -> bool:
        """Whether the trike must not be ridden before it was at the workshop."""
        return self.bulletin.severity == Bulletin.Severity.STOP


def notice_told(
    bulletin: Bulletin, parts: Iterable[NamedPart], today: date, words: BulletinText | None = None
) -> NoticeTold:
    """Return what a bulletin tells the owner of these parts; `words` in their language, where somebody wrote them."""
    named = tuple(parts)
    headline = say(HEADLINE) if bulletin.is_hazard else say("Service bulletin {number}", number=bulletin.number)
    return NoticeTold(
        bulletin, words or bulletin, headline,
        local_date(bulletin.released_at) if bulletin.released_at else today, named, bulletin.minutes * max(len(named), 1),
    )  # fmt: skip


def named_part(component: Component, position: str, certainty: str) -> NamedPart:
    """Return a component as the owner reads it."""
    batch = say("batch {batch}", batch=component.batch)
    serial = say("serial {serial}", serial=component.serial) if component.serial else batch
    place = say(POSITIONS[position].title) if position in POSITIONS else ""
    return NamedPart(place, str(component.part_type), serial, certainty == BulletinPart.Certainty.AFFECTED)


def notice_on(bulletin_id: int, trike_id: int, today: date) -> NoticeTold | None:
    """Return what the owner of a trike is told of one released bulletin, or None where none of its parts is open there."""
    return next((told for told in notices_on(trike_id, today) if told.bulletin.pk == bulletin_id), None)


def notices_on(trike_id: int, today: date, owner_id: int | None = None) -> list[NoticeTold]:
    """Return what open bulletins tell the owner of a trike, stop riding and hazards first. Two queries, three with owner_id,
    one more in another language than English.

    owner_id: whose notices are looked up, so that the page can ask them to say that they read it.
    """
    places = dict(Fitment.objects.current().filter(trike_id=trike_id).values_list("component_id", "position"))
    rows = (
        open_parts().filter(component_id__in=places).select_related("bulletin", "component__part_type").order_by("pk")
    )
    found: dict[int, list[BulletinPart]] = {}
    for part in rows:
        found.setdefault(part.bulletin_id, []).append(part)
    words = texts_in(spoken(), found)
    told = [
        notice_told(
            parts[0].bulletin,
            (named_part(part.component, places[part.component_id], part.certainty) for part in parts), today, words.get(pk),
        )
        for pk, parts in found.items()
    ]  # fmt: skip
    told.sort(key=lambda one: (not one.stops_riding, not one.bulletin.is_hazard, one.bulletin.pk))
    return _with_answers(told, trike_id, owner_id) if owner_id and told else told


def texts_in(language: str, bulletin_ids: Iterable[int]) -> dict[int, BulletinText]:
    """Return bulletin id -> its words in a language other than English, of those that have them."""
    ids = list(bulletin_ids)
    if language == ENGLISH or not ids:
        return {}
    return {row.bulletin_id: row for row in BulletinText.objects.filter(language=language, bulletin_id__in=ids)}


def _with_answers(told: list[NoticeTold], trike_id: int, owner_id: int) -> list[NoticeTold]:
    rows = BulletinNotice.objects.filter(
        trike_id=trike_id, owner_id=owner_id, bulletin_id__in=[one.bulletin.pk for one in told]
    )
    read = dict(rows.values_list("bulletin_id", "read_at"))
    return [
        NoticeTold(**{**vars(one), "read_at": read.get(one.bulletin.pk), "asks_to_be_read": one.bulletin.pk in read})
        for one in told
    ]
