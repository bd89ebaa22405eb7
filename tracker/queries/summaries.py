"""What a card tells its owner: the summary as written or proposed, and what comes next, in the owner's units and zone."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings

from services import summary
from services.kinds import comes_with
from services.kinds import task as task_of
from services.language import ENGLISH
from services.positions import POSITIONS
from services.release import demanded
from tracker.language import in_language
from tracker.models import DueLine, JobCard, JobTask, OutboxMessage, Owner, Ownership
from tracker.queries.clock import local_date
from tracker.queries.due import range_words
from tracker.queries.release import places_on, work_on

SUMMARY = "summary"  # kind of its messages


@dataclass(frozen=True)
class OwnerSummary:
    """A card's summary for its owner. `proposed` is what the workshop would say by itself."""

    card: JobCard
    owner: Owner | None
    text: str
    proposed: str
    ahead: tuple[str, ...]  # what comes next, one line each
    message: OutboxMessage | None

    @property
    def is_written(self) -> bool:
        """Whether somebody wrote it in their own words."""
        return bool(self.card.summary)

    @property
    def blocks(self) -> list[summary.Block]:
        """Its paragraphs and lists."""
        return summary.blocks(self.text)


def owner_summary(card: JobCard, now: datetime) -> OwnerSummary:
    """Return what the owner of the trike, as of the day of the work, is told about this card, in their language."""
    owner = owner_then(card)
    today = now.astimezone(_zone(owner)).date()
    with in_language(owner.language if owner else ENGLISH):
        text = proposal(card, owner)
        ahead = tuple(summary.next_lines(ahead_of(card, today), today))
    return OwnerSummary(
        card=card,
        owner=owner,
        text=card.summary or text,
        proposed=text,
        ahead=ahead,
        message=OutboxMessage.objects.filter(key=message_key(card.pk)).first(),
    )


def message_key(card_id: int) -> str:
    """Return the key of a card's summary in the outbox: there can be one."""
    return f"summary:card{card_id}"


def owner_then(card: JobCard) -> Owner | None:
    """Return who owned the trike on the day of the work. Whoever came later is told nothing of it."""
    on = local_date(card.worked_at)
    owned = Ownership.objects.filter(trike_id=card.trike_id, since__lte=on).exclude(until__lt=on)
    row = owned.select_related("owner").order_by("-since", "-pk").first()
    return row.owner if row else None


def _zone(owner: Owner | None) -> ZoneInfo:
    return ZoneInfo(owner.time_zone if owner else settings.WORKSHOP_TIME_ZONE)


def proposal(card: JobCard, owner: Owner | None) -> str:
    """Return the summary that follows from what the card records, in the units of `owner`."""
    places = places_on(card.trike_id)
    done, left = (_told(card, outcome, places) for outcome in (JobTask.Outcome.DONE, JobTask.Outcome.DEFERRED))
    known = card.reading is not None and card.reading.verdict == "accepted"
    visit = summary.Visit(
        on=card.worked_at.astimezone(_zone(owner)).date(),
        km=card.reading.km if known else None,
        done=done,
        left=left,
        taken=_taken(card, places),
        changed=_changed(card),
        faults=_faults(card, places),
        ride=tuple(demand.area.to_owner for demand in demanded(work_on(card))),
    )
    return summary.proposed(visit, *((owner.distance_unit, owner.pressure_unit) if owner else ()))


def _told(card: JobCard, outcome: str, places: dict[int, str]) -> tuple[summary.Told, ...]:
    rows = card.tasks.filter(outcome=outcome).order_by("pk").values_list("task", "component_id")
    return tuple(summary.Told(task, _place(places, component_id)) for task, component_id in rows)


def _taken(card: JobCard, places: dict[int, str]) -> tuple[summary.Taken, ...]:
    rows = card.measurements.order_by("pk")
    return tuple(summary.Taken(row.quantity, row.value, row.level, _place(places, row.component_id)) for row in rows)


def _changed(card: JobCard) -> tuple[summary.Changed, ...]:
    return tuple(
        summary.Changed(
            POSITIONS[row.position].title, row.old_component_id is not None, row.new_component_id is not None
        )
        for row in card.swaps.order_by("pk")
    )


def _faults(card: JobCard, places: dict[int, str]) -> tuple[summary.Fault, ...]:
    rows = card.failures.select_related("component__part_type").order_by("pk")
    return tuple(
        summary.Fault(
            places.get(row.component_id) or row.component.part_type.get_kind_display(), row.mode, row.warranty
        )
        for row in rows
    )


def _place(places: dict[int, str], component_id: int) -> str:
    """Where a part sits; the trike itself is no place."""
    place = places.get(component_id, "")
    return "" if place == POSITIONS["frame"].title else place


def ahead_of(card: JobCard, today: date) -> list[summary.Ahead]:
    """Return what comes next on the trike: the due list, each task once, without what this draft says is done."""
    done = set()
    if card.state == JobCard.State.DRAFT:
        done = set(card.tasks.filter(outcome=JobTask.Outcome.DONE).values_list("component_id", "task"))
    soonest: dict[str, DueLine] = {}
    for line in DueLine.objects.filter(trike_id=card.trike_id, due_on__isnull=False).order_by("due_on", "pk"):
        if (line.component_id, line.task) not in done:
            soonest.setdefault(line.task, line)
    inside = comes_with(soonest)
    return [_ahead(line, today) for code, line in soonest.items() if code not in inside]


def _ahead(line: DueLine, today: date) -> summary.Ahead:
    return summary.Ahead(task_of(line.task).title, line.due_on, range_words(line, today), line.owner_can)
