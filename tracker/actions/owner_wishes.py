"""What an owner sets or does behind their link: later, quiet, units, own tasks done. Each is bound to the link's trike."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from zoneinfo import available_timezones

from django.db.models import F

from services.errors import Refusal
from services.hemisphere import is_southern
from services.intervals import covered_tasks
from services.kinds import all_tasks, includes_map
from services.kinds import task as task_of
from services.language import LANGUAGES, say
from tracker.actions.refusals import FieldInvalid, Invalid, UnknownTimeZone, WrongState
from tracker.actions.reminder_messages import REMINDER, SNOOZED
from tracker.actions.steps import draft_of, lock_trikes, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Completion, DueLine, Fitment, OutboxMessage, Owner, OwnerLink, Ownership, Visit
from tracker.queries.owner_hours import snooze_end
from tracker.queries.reminders import lines_of_visit, owner_today

SNOOZE_WEEKS = (1, 2, 4)
DISTANCES, PRESSURES = ("km", "mi"), ("psi", "bar", "kPa")
SOURCE = "owner"


class SafetyDoesNotWait(Refusal):
    """Overdue work that riding safely depends on is not put off."""

    code = "safety-does-not-wait"
    status = "conflict"


class NotForOwners(Invalid):
    """The workshop does this task."""

    code = "not-for-owners"


@action
def snooze_visit(*, link: OwnerLink, weeks: int, now: datetime) -> Visit:
    """Write nothing about the open visit for 1, 2 or 4 weeks; 0 ends that. What waits to be sent waits as long.

    Raises FieldInvalid, WrongState (nothing due), SafetyDoesNotWait.
    """
    if weeks not in (0, *SNOOZE_WEEKS):
        raise FieldInvalid(say("Choose 1, 2 or 4 weeks."), field="weeks", remedy=say("Choose one of those offered."))
    lock_trikes([link.trike_id])
    visit = Visit.objects.filter(trike_id=link.trike_id, state=Visit.State.OPEN).first()
    if visit is None:
        raise WrongState(say("Nothing is due now."), field="weeks", remedy=say("We write when something is."))
    today = owner_today(link.owner, now)
    late = _overdue_safety(visit, today)
    if weeks and late:
        raise SafetyDoesNotWait(
            say("{task} is overdue and matters for your safety: we cannot leave it unsaid.", task=late), field="weeks",
            remedy=say("Ask for a day, or call us."),
        )  # fmt: skip
    visit.snoozed_until = today + timedelta(weeks=weeks) if weeks else None
    visit.save(update_fields=["snoozed_until"])
    begins = snooze_end(visit, link.owner, now)
    waiting = OutboxMessage.objects.filter(visit=visit, kind=REMINDER, state=OutboxMessage.State.WAITING)
    waiting.exclude(stage=SNOOZED).update(not_before=begins)  # that one comes through a snooze
    return visit


def _overdue_safety(visit: Visit, today: date) -> str:
    """The title of a safety task of this visit that is past its day; '' where none is."""
    late = (line for line in lines_of_visit(visit) if line.safety and line.due_on < today)
    return next((say(task_of(line.task).title) for line in late), "")


@action
def set_quiet(
    *, link: OwnerLink, from_hour: int | None, until_hour: int | None, weekdays: Collection[int] = (), now: datetime
) -> Owner:
    """Set when nothing routine arrives: from one hour of the owner's clock to another, and on whole weekdays (Monday 0).

    Both hours None: the shop's own. The same hour twice: at any hour. Raises FieldInvalid.
    """
    hours = (from_hour, until_hour)
    if (from_hour is None) is not (until_hour is None) or any(h is not None and not 0 <= h <= 23 for h in hours):
        raise FieldInvalid(say("Choose two hours from 0 to 23."), field="from_hour", remedy=say("Such as 20 and 8."))
    days = sorted(set(weekdays))
    if not set(days) <= set(range(7)):
        raise FieldInvalid(say("That is no day of the week."), field="weekdays", remedy=say("Tick the days again."))
    if len(days) == 7:
        raise FieldInvalid(
            say("Every day would be quiet."),
            field="weekdays",
            remedy=say("Leave one day, or stop the reminders on your trike's page."),
        )
    return _set(link, quiet_from_hour=from_hour, quiet_until_hour=until_hour, quiet_weekdays=days)


@action
def set_units(*, link: OwnerLink, distance_unit: str, pressure_unit: str, time_zone: str, now: datetime) -> Owner:
    """Set the units and the time zone this owner reads in. Who moves to the other half of the earth rides by other
    seasons: the due lines follow at once. Raises FieldInvalid, UnknownTimeZone.
    """
    if distance_unit not in DISTANCES:
        raise FieldInvalid(
            say("A distance is in km or miles."), field="distance_unit", remedy=say("Choose one of them.")
        )
    if pressure_unit not in PRESSURES:
        raise FieldInvalid(
            say("A pressure is in psi, bar or kPa."), field="pressure_unit", remedy=say("Choose one of them.")
        )
    if time_zone not in available_timezones():
        raise UnknownTimeZone(
            say("That is no time zone we know."), field="time_zone", remedy=say("Such as Europe/Berlin.")
        )
    was_southern = is_southern(link.owner.time_zone)
    if was_southern is not is_southern(time_zone):
        lock_trikes(_owned(link))  # before the owner, as everywhere
    owner = _set(link, distance_unit=distance_unit, pressure_unit=pressure_unit, time_zone=time_zone)
    if was_southern is not is_southern(time_zone):
        refresh_due(_owned(link), now)
    return owner


@action
def set_language(*, link: OwnerLink, language: str, now: datetime) -> Owner:
    """Set the language of this owner's page and mails. Raises FieldInvalid."""
    if language not in LANGUAGES:
        raise FieldInvalid(
            say("That is no language we write."), field="language", remedy=say("Choose one of those offered.")
        )
    return _set(link, language=language)


def _owned(link: OwnerLink) -> list[int]:
    rows = Ownership.objects.filter(owner_id=link.owner_id, until__isnull=True)
    return list(rows.values_list("trike_id", flat=True))


def _set(link: OwnerLink, **values) -> Owner:
    Owner.objects.filter(pk=link.owner_id).update(**values, version=F("version") + 1)
    return Owner.objects.get(pk=link.owner_id)


@action
def tick_own_task(*, link: OwnerLink, task: str, component_ids: Collection[int], now: datetime) -> list[Completion]:
    """Record that the owner did a task of their own, on these parts of the trike: the due list moves with it.

    Ticking again on the same day records nothing. Raises NotForOwners, Invalid (not due on this trike).
    """
    own = {row.code: row for row in all_tasks() if row.owner_can}
    if task not in own:
        raise NotForOwners(say("The workshop does this for you."), field="task", remedy=say("Ask for a day."))
    lock_trikes([link.trike_id])
    wanted = set(component_ids)
    due = DueLine.objects.filter(trike_id=link.trike_id, task=task, owner_can=True, component_id__in=wanted)
    here = set(Fitment.objects.current().filter(trike_id=link.trike_id).values_list("component_id", flat=True))
    if not wanted or not wanted <= here or due.count() != len(wanted):
        raise Invalid(say("This is not due on your trike."), field="task", remedy=say("Look at the list again."))
    done = [row for row in _with_included(link.trike_id, task, wanted) if not _done_today(row, link.owner, now)]
    Completion.objects.bulk_create(
        Completion(component_id=component_id, trike_id=link.trike_id, task=code, done_at=now, via=via, source=SOURCE,
                   recorded_at=now)
        for component_id, code, via in done
    )  # fmt: skip
    if done:
        write_logs(
            [draft_of(link.trike_id, "task_done", now, None, SOURCE, {"task": code, "via": via, "card": ""}, component_id)
             for component_id, code, via in done], now,
        )  # fmt: skip
        refresh_due([link.trike_id], now)
        _close_own_visit(link.trike_id, now)
    return list(Completion.objects.filter(trike_id=link.trike_id, done_at=now, source=SOURCE))


def _with_included(trike_id: int, task: str, component_ids: Collection[int]) -> list[tuple[int, str, str]]:
    """The task on each part, and the smaller owners' tasks it includes: (component, task, via)."""
    rows = [(component_id, task, "") for component_id in sorted(component_ids)]
    own = {row.code: row.on for row in all_tasks() if row.owner_can}
    fitted = Fitment.objects.current().filter(trike_id=trike_id)
    parts = list(fitted.values_list("component_id", "component__part_type__kind"))
    for code, via in covered_tasks([task], includes_map()).items():
        rows += [(component_id, code, via) for component_id, kind in parts if own.get(code) == kind]
    return rows


def _done_today(row: tuple[int, str, str], owner: Owner, now: datetime) -> bool:
    component_id, code, _ = row
    last = Completion.objects.filter(component_id=component_id, task=code, source=SOURCE).order_by("-done_at").first()
    return last is not None and owner_today(owner, last.done_at) == owner_today(owner, now)


def _close_own_visit(trike_id: int, now: datetime) -> None:
    """Close a visit of owners' tasks when all of them are done: nobody is reminded of it again."""
    visit = Visit.objects.filter(trike_id=trike_id, state=Visit.State.OPEN).prefetch_related("lines").first()
    if visit is None:
        return
    own = {row.code for row in all_tasks() if row.owner_can}
    pending = set(
        DueLine.objects.filter(trike_id=trike_id, due_on__lte=visit.planned_on).values_list("component_id", "task")
    )
    lines = [(line.component_id, line.task) for line in visit.lines.all()]
    if all(code in own for _, code in lines) and not pending & set(lines):
        Visit.objects.filter(pk=visit.pk).update(state=Visit.State.DONE, closed_at=now)
