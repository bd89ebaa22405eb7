"""Days on which the workshop is closed: entered and taken back by the desk. What is proposed on one of them moves at once."""

from datetime import date, datetime, timedelta

from services.due_words import say_date
from services.identity import clean_text
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, WrongState
from tracker.actions.reminder_visits import plan_visits
from tracker.actions.steps import lock_trikes
from tracker.actions.transactions import action
from tracker.models import Closing, User, Visit
from tracker.queries.clock import local_date
from tracker.queries.reminders import due_lines_by_trike

MOST_DAYS = 366
MOST_AHEAD = timedelta(days=3 * 366)
MOST_WORDS = 120


class AlreadyClosed(Conflict):
    """Another closing has some of these days; `facts` names it."""

    code = "already-closed"


@action
def add_closing(*, first: date, last: date | None = None, reason: str = "", by: User | None, now: datetime) -> Closing:
    """Close the workshop from `first` to `last`, both included; without `last` for one day.

    What was proposed on one of these days moves; days agreed with owners stay as they are: whoever closes rings them
    (queries.closing_list). Raises FieldInvalid, AlreadyClosed, BadText.
    """
    last = last or first
    _check_days(first, last, local_date(now))
    other = Closing.objects.filter(first__lte=last, last__gte=first).first()
    if other is not None:
        raise AlreadyClosed(
            f"{said(other)} is entered already.", field="first", remedy="Leave those days out, or remove that entry first.",
            closing=other.pk,
        )  # fmt: skip
    proposed = Visit.objects.filter(state=Visit.State.OPEN, planned_on__range=(first, last))
    ids = list(proposed.values_list("trike_id", flat=True))
    lock_trikes(ids)
    closing = Closing.objects.create(
        first=first, last=last, reason=clean_text(reason, MOST_WORDS).strip(), entered_by=by, entered_at=now
    )
    if ids:  # an owner looks at the page or the calendar before the night's sweep
        plan_visits(ids, due_lines_by_trike(ids), now)
    return closing


def _check_days(first: date, last: date, today: date) -> None:
    if last < first:
        raise FieldInvalid("It ends before it begins.", field="last", remedy="Use the first day or a later one.")
    if last < today:
        raise FieldInvalid("These days are over.", field="first", remedy="Enter days that are still to come.")
    if (last - first).days >= MOST_DAYS:
        raise FieldInvalid(f"That is more than {MOST_DAYS} days.", field="last", remedy="Enter it in pieces.")
    if last > today + MOST_AHEAD:
        raise FieldInvalid("That is more than three years ahead.", field="last", remedy="Look at the year again.")


def said(closing: Closing) -> str:
    """Return '24 Dec 2026 to 1 Jan 2027', or the one day."""
    ends = dict.fromkeys([say_date(closing.first), say_date(closing.last)])
    return " to ".join(ends)


@action
def remove_closing(*, closing_id: int, by: User | None, now: datetime) -> Closing:
    """Take a closing back that is not over yet; return it as it stood. Raises Invalid, WrongState."""
    row = Closing.objects.select_for_update(of=("self",)).filter(pk=closing_id).first()
    if row is None:
        raise Invalid("There is no such closing.", field="id", remedy="Look at the list again.")
    if row.last < local_date(now):
        raise WrongState(f"{said(row)} is over.", field="id", remedy="What has been stays on record.")
    row.delete()
    row.pk = closing_id
    return row
