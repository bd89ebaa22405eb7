"""Days that owners asked for: what the bench has room for, what waits for the desk, what was agreed."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.db.models import Count, QuerySet, Sum

from services.bench_days import Bench, works_on
from services.calendar_words import say_weekday_date
from services.kinds import task as task_of
from services.language import say
from tracker.models import Appointment, Visit
from tracker.queries.closings import days_closed

AHEAD_DAYS = 42  # six weeks
OPEN = (Appointment.State.ASKED, Appointment.State.CONFIRMED)
OFFER = "Could you come on "  # how an answer begins that offers another day, which then stands in `on`


@dataclass(frozen=True)
class Standing:
    """How an owner stands with the bench: what was asked for or agreed, else the last refusal and the days to choose from."""

    open: Appointment | None
    refused: Appointment | None
    offered: date | None  # the day the desk offered instead
    near: tuple[date, ...]  # free days around the proposed one, soonest first
    others: tuple[date, ...]
    suggested: date | None = None  # the proposed day, while it is ahead and the workshop has not closed on it since

    @property
    def answered(self) -> str:
        """What the desk said last, as the owner reads it."""
        row = self.refused
        if row is None:
            return ""
        return " ".join(filter(None, [offer_words(row.on), words_of(row)])) if is_offer(row) else row.answer


def bench_on(first: date, last: date) -> Bench:
    """Return the bench with the minutes that are asked for or agreed from `first` to `last`."""
    rows = Appointment.objects.filter(state__in=OPEN, on__range=(first, last)).exclude(visit__state=Visit.State.DONE)
    taken = dict(rows.order_by().values_list("on").annotate(Sum("minutes")))
    return Bench(settings.BENCH_MINUTES_A_DAY, taken, **days_closed(first))


def free_days(minutes: int, today: date, *, but: Collection[date] = ()) -> list[date]:
    """Return the open days of the next six weeks with room for `minutes`, from tomorrow on, without those in `but`."""
    days = [today + timedelta(days=number) for number in range(1, AHEAD_DAYS + 1)]
    bench = bench_on(days[0], days[-1])
    return [day for day in days if day not in but and bench.is_open(day) and bench.has_room(day, minutes)]


def ahead(today: date) -> QuerySet[Appointment]:
    """Return what is asked for or agreed from `today` on and not done yet."""
    return Appointment.objects.filter(state__in=OPEN, on__gte=today).exclude(visit__state=Visit.State.DONE)


def open_appointment(trike_id: int, today: date) -> Appointment | None:
    """Return what is asked for or agreed for a trike from `today` on and not done yet."""
    return ahead(today).filter(trike_id=trike_id).first()


def with_open_appointment(trike_ids: Iterable[int], today: date) -> dict[int, str]:
    """Return trike id -> state of what is asked for or agreed from `today` on."""
    return dict(ahead(today).filter(trike_id__in=list(trike_ids)).values_list("trike_id", "state"))


def has_agreed_day(trike_id: int, today: date) -> bool:
    """Return whether a day from `today` on is agreed with the owner of this trike."""
    return with_open_appointment([trike_id], today).get(trike_id) == Appointment.State.CONFIRMED


def refused_days(visit: Visit) -> list[Appointment]:
    """Return what the desk refused about a visit, the last first."""
    rows = Appointment.objects.filter(visit=visit, state=Appointment.State.DECLINED)
    return list(rows.order_by("-decided_at", "-pk"))


def for_bench(visit: Visit | None) -> bool:
    """Whether a visit holds work for the workshop: what owners do themselves needs no day."""
    return visit is not None and not all(task_of(line.task).owner_can for line in visit.lines.all())


def standing(trike_id: int, visit: Visit | None, today: date, near: int = 4) -> Standing:
    """Return how the owner of a trike stands with the bench; days only where a visit has work for it."""
    present = open_appointment(trike_id, today)
    if visit is None or present is not None or not for_bench(visit):
        return Standing(present, None, None, (), ())
    refused = refused_days(visit)
    last = refused[0] if refused else None
    days = free_days(visit.minutes, today, but=[row.on for row in refused if not is_offer(row)])
    offered = last.on if last is not None and is_offer(last) and last.on in days else None
    proposed = visit.planned_on > today and works_on(visit.planned_on, **days_closed(today))
    closest = sorted(days, key=lambda day: (day != offered, abs(day - visit.planned_on)))[:near]
    return Standing(
        None, last, offered, tuple(sorted(closest)), tuple(day for day in days if day not in closest),
        visit.planned_on if proposed else None,
    )  # fmt: skip


def is_offer(row: Appointment) -> bool:
    """Whether the desk offered another day, which then is its `on`."""
    return row.state == Appointment.State.DECLINED and row.answer.startswith(OFFER)


def words_of(row: Appointment) -> str:
    """Return what the desk wrote itself with its answer: of an offer, what follows the question."""
    return row.answer.partition("? ")[2] if is_offer(row) else row.answer


def offer_words(day: date, instead_of: date | None = None) -> str:
    """Return the question whether another day suits, as its owner reads it."""
    if instead_of is None:
        return say("Could you come on {day} instead?", day=say_weekday_date(day))
    days = {"day": say_weekday_date(day), "asked": say_weekday_date(instead_of)}
    return say("Could you come on {day} instead of {asked}?", **days)


def appointments(state: str = "") -> QuerySet[Appointment]:
    """Return appointments with who asked, soonest day first."""
    rows = Appointment.objects.select_related("trike", "owner", "visit", "decided_by")
    return rows.filter(state=state) if state else rows


def counts() -> dict[str, int]:
    """Return how many appointments there are in each state."""
    return dict(Appointment.objects.order_by().values_list("state").annotate(Count("pk")))


def lines_told(visit: Visit | None) -> list[str]:
    """Return the titles of a visit's tasks, each once."""
    codes = visit.lines.values_list("task", flat=True) if visit else ()
    return list(dict.fromkeys(task_of(code).title for code in codes))
