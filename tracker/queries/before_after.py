"""Whether a change helped: the lives of one part type cut where the change reached them. Read when asked for, one part type."""

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from services.before_after import Compared, Pieces, RepairsDiffer, compared, repairs_differ
from services.life_data.recurrence import BadHistories, Histories, histories
from services.review.observed import PartLives, Streams
from tracker.models import Bulletin, BulletinPart, Component, PartType
from tracker.queries.clock import day_of, day_of_date, local_date
from tracker.queries.review_ground import Ground, read_ground
from tracker.queries.review_lives import ages_on, first_of_month, fleet_lives

DAY, MADE, FIRMWARE, SISTER, BULLETIN = "day", "made", "firmware", "part_type", "bulletin"
NAMES = {
    DAY: ("before", "after"), MADE: ("made before", "made from then on"), FIRMWARE: ("with other versions", "with it"),
    SISTER: ("of this part type", "of the other"), BULLETIN: ("before it was done", "after it was done"),
}  # fmt: skip
NEVER, ALWAYS = np.inf, -np.inf


@dataclass(frozen=True)
class Asked:
    """What changed: kind (day, made, firmware, part_type, bulletin), its value ('' for days) and the day (None: no day)."""

    kind: str
    value: str = ""
    on: date | None = None

    @property
    def is_whole(self) -> bool:
        """Whether enough is told to compare."""
        return self.on is not None if self.kind in {DAY, MADE} else bool(self.value)


@dataclass(frozen=True)
class BeforeAfter:
    """The comparison, the day up to which lives count, pieces left out because nobody knows on which side they are."""

    found: Compared
    repairs: RepairsDiffer | None
    until: date
    left_out: int


def before_after(part_type: PartType, metric: str, asked: Asked, now: datetime) -> BeforeAfter | None:
    """Return what the change did to pieces of a part type; None where none of them is under watch in that metric."""
    until = first_of_month(local_date(now))
    other = int(asked.value) if asked.kind == SISTER else part_type.pk
    ground = read_ground(until, only={part_type.pk, other})
    parts = {part.part_type: part for part in fleet_lives(ground, metric)}
    if part_type.pk not in parts or other not in parts:
        return None
    names = NAMES[asked.kind]
    if asked.kind == SISTER:
        pair = [_pieces(parts[part_type.pk], NEVER), _pieces(parts[other], ALWAYS)]
        streams = _repairs(parts[part_type.pk].streams, parts[other].streams, metric, names)
        return BeforeAfter(compared(_joined(pair), metric, names), streams, until, 0)
    part = parts[part_type.pk]
    since, kept = _since(ground, part, asked)
    pieces = _only(_pieces(part, since), kept)
    return BeforeAfter(compared(pieces, metric, names), None, until, int((~kept).sum()))


def _pieces(part: PartLives, since: np.ndarray | float) -> Pieces:
    n = len(part.entry)
    return Pieces(part.entry, part.middle, part.failed, part.known, np.broadcast_to(np.asarray(since, float), n))


def _joined(pair: list[Pieces]) -> Pieces:
    return Pieces(*(np.concatenate([getattr(one, name) for one in pair]) for name in Pieces.__dataclass_fields__))


def _only(pieces: Pieces, kept: np.ndarray) -> Pieces:
    return Pieces(*(getattr(pieces, name)[kept] for name in Pieces.__dataclass_fields__))


def _since(ground: Ground, part: PartLives, asked: Asked) -> tuple[np.ndarray, np.ndarray]:
    """(age from which the change holds for each piece, whether that is known of it)."""
    everybody = np.ones(len(part.component), dtype=bool)
    if asked.kind == DAY:
        return ages_on(ground, part, np.full(len(everybody), day_of_date(asked.on))), everybody
    if asked.kind == FIRMWARE:
        label = part.groups["firmware"]
        return np.where(label == asked.value, ALWAYS, NEVER), label != ""
    if asked.kind == MADE:
        made = dict(Component.objects.filter(part_type=part.part_type).values_list("pk", "made_on"))
        days = [made.get(pk) for pk in part.component.tolist()]
        known = np.array([day is not None for day in days], dtype=bool)
        return np.array([ALWAYS if day is not None and day >= asked.on else NEVER for day in days]), known
    done = dict(BulletinPart.objects.filter(bulletin=int(asked.value)).values_list("component", "done_at"))
    under = np.array([pk in done for pk in part.component.tolist()], dtype=bool)
    days = np.array([day_of(done[pk]) if done.get(pk) else NEVER for pk in part.component.tolist()])
    return ages_on(ground, part, days), under


def _repairs(old: Streams, new: Streams, metric: str, names: tuple[str, str]) -> RepairsDiffer | None:
    try:
        return repairs_differ(_histories(old), _histories(new), metric, names)
    except BadHistories:  # a metric without a clock of the trike has no repairs by place
        return None


def _histories(streams: Streams) -> Histories:
    return histories(streams.end, streams.machine, streams.age, streams.start)


# What may be asked


def firmwares_of(part_type: PartType) -> list[str]:
    """Return the versions its pieces carry."""
    rows = Component.objects.filter(part_type=part_type).exclude(firmware="")
    return sorted(rows.order_by().values_list("firmware", flat=True).distinct())


def sisters_of(part_type: PartType) -> list[PartType]:
    """Return the other part types of its kind that have pieces."""
    rows = PartType.objects.filter(kind=part_type.kind, components__isnull=False).exclude(pk=part_type.pk)
    return list(rows.distinct().order_by("name", "pk"))


def bulletins_of(part_type: PartType) -> list[Bulletin]:
    """Return the released bulletins that touch pieces of it, newest first."""
    rows = Bulletin.objects.filter(parts__component__part_type=part_type).exclude(released_at=None)
    return list(rows.distinct().order_by("-released_at", "-pk"))
