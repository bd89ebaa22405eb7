"""The desk's lists: filtered, ordered, with everything a row shows fetched in a fixed number of queries."""

from datetime import date, timedelta

from django.db.models import Count, Min, Prefetch, Q, QuerySet

from services.errors import Refusal
from services.identity import canonical_serial, fold_name
from tracker.models import (
    Component,
    DueLine,
    Fitment,
    ImportBatch,
    JobCard,
    OdometerReading,
    OutboxMessage,
    Owner,
    Ownership,
    PartType,
    ServiceInterval,
    Trike,
)
from tracker.queries.due import due_list

WINDOWS = ("overdue", "week", "month", "all")
BACK = "back"  # messages that came back, whatever their state


def present_owner(path: str = "ownerships") -> Prefetch:
    """Return the prefetch that puts the present ownership of a trike, with its owner, into `now_owned`."""
    return Prefetch(path, Ownership.objects.filter(until__isnull=True).select_related("owner"), "now_owned")


def in_window(lines: QuerySet[DueLine], window: str, today: date) -> QuerySet[DueLine]:
    """Return the lines of a window: overdue; due today or in the next 6 days; in the next 30 days; all."""
    if window == "overdue":
        return lines.filter(due_on__lt=today)
    if window == "week":
        return lines.filter(due_on__gte=today, due_on__lt=today + timedelta(days=7))
    if window == "month":
        return lines.filter(due_on__gte=today, due_on__lt=today + timedelta(days=30))
    return lines


def due_lines(*, task: str = "", safety: bool = False, text: str = "") -> QuerySet[DueLine]:
    """Return the due list, narrowed by task, by safety tasks only, and by trike or owner."""
    lines = due_list().prefetch_related(present_owner("trike__ownerships"))
    if task:
        lines = lines.filter(task=task)
    if safety:
        lines = lines.filter(safety=True)
    if text:
        lines = lines.filter(trike__in=trike_ids_matching(text))
    return lines


def window_counts(lines: QuerySet[DueLine], today: date) -> dict[str, int]:
    """Return how many of `lines` each window holds, in one query."""
    week, month = today + timedelta(days=7), today + timedelta(days=30)
    return lines.order_by().aggregate(
        overdue=Count("pk", Q(due_on__lt=today)),
        week=Count("pk", Q(due_on__gte=today, due_on__lt=week)),
        month=Count("pk", Q(due_on__gte=today, due_on__lt=month)),
        all=Count("pk"),
    )


def due_tasks() -> list[str]:
    """Return the task codes the due list holds at present."""
    return list(DueLine.objects.order_by("task").values_list("task", flat=True).distinct())


def trike_ids_matching(text: str) -> QuerySet:
    """Return the ids of trikes whose serial, plate or present owner matches `text`."""
    named = Q(ownerships__until__isnull=True)
    for word in fold_name(text).split():
        named &= Q(ownerships__owner__search_name__contains=word)
    try:
        serial = canonical_serial(text)
    except Refusal:
        return Trike.objects.filter(named).values("pk")
    return Trike.objects.filter(named | Q(frame_serial__contains=serial) | Q(plate__contains=serial)).values("pk")


def trikes(*, state: str = "", text: str = "") -> QuerySet[Trike]:
    """Return trikes with owner and the day of the next task."""
    rows = (
        Trike.objects.annotate(next_due=Min("due_lines__due_on"))
        .prefetch_related(present_owner())
        .order_by("frame_serial", "pk")
    )
    if state:
        rows = rows.filter(state=state)
    if text:
        rows = rows.filter(pk__in=trike_ids_matching(text))
    return rows


def components(*, kind: str = "", state: str = "", batch: str = "", text: str = "") -> QuerySet[Component]:
    """Return components with part type and the place they sit in."""
    place = Prefetch("fitments", Fitment.objects.current().select_related("trike"), "now_fitted")
    rows = Component.objects.select_related("part_type").prefetch_related(place)
    if kind:
        rows = rows.filter(part_type__kind=kind)
    if state:
        rows = rows.filter(state=state)
    if batch:
        rows = rows.filter(batch__iexact=batch)
    if text:
        rows = rows.filter(Q(serial__icontains=text) | Q(part_type__name__icontains=text))
    return rows.order_by("part_type__kind", "serial", "pk")


def owners(text: str = "", *, with_erased: bool = True) -> QuerySet[Owner]:
    """Return owners with the trikes they own now; with_erased: also what stays of those whose data was erased."""
    ridden = Prefetch("ownerships", Ownership.objects.filter(until__isnull=True).select_related("trike"), "now_owned")
    rows = Owner.objects.prefetch_related(ridden)
    if not with_erased:
        rows = rows.filter(erased_at__isnull=True)
    for word in fold_name(text).split():
        rows = rows.filter(search_name__contains=word)
    return rows


def part_types(kind: str = "") -> QuerySet[PartType]:
    """Return the catalogue with how many pieces of each are fitted and in stock."""
    rows = PartType.objects.annotate(
        fitted=Count("components", Q(components__state=Component.State.FITTED)),
        in_stock=Count("components", Q(components__state=Component.State.IN_STOCK)),
    )
    return (rows.filter(kind=kind) if kind else rows).order_by("kind", "part_number", "pk")


def job_cards(*, state: str = "", text: str = "") -> QuerySet[JobCard]:
    """Return job cards, newest first."""
    rows = JobCard.objects.select_related("trike", "opened_by", "signed_by").prefetch_related(
        present_owner("trike__ownerships")
    )
    if state:
        rows = rows.filter(state=state)
    if text:
        rows = rows.filter(Q(number__icontains=text) | Q(trike__in=trike_ids_matching(text)))
    return rows


def readings(*, verdict: str = "", text: str = "") -> QuerySet[OdometerReading]:
    """Return odometer readings, newest first."""
    rows = OdometerReading.objects.select_related("trike", "entered_by", "decided_by", "photo")
    rows = rows.order_by("-read_at", "-pk")
    if verdict:
        rows = rows.filter(verdict=verdict)
    if text:
        rows = rows.filter(trike__in=trike_ids_matching(text))
    return rows


def messages(*, state: str = "", text: str = "") -> QuerySet[OutboxMessage]:
    """Return messages to owners, newest first."""
    rows = OutboxMessage.objects.select_related("trike", "owner")
    if state == BACK:
        rows = rows.filter(bounced_at__isnull=False)
    elif state:
        rows = rows.filter(state=state)
    if text:
        rows = rows.filter(trike__in=trike_ids_matching(text))
    return rows


def message_counts() -> dict[str, int]:
    """Return how many messages there are in each state, and how many came back. Two queries."""
    counts = dict(OutboxMessage.objects.order_by().values_list("state").annotate(Count("pk")))
    return {**counts, BACK: OutboxMessage.objects.filter(bounced_at__isnull=False).count()}


def reading_counts() -> dict[str, int]:
    """Return how many readings there are of each verdict."""
    return dict(OdometerReading.objects.order_by().values_list("verdict").annotate(Count("pk")))


def imports() -> QuerySet[ImportBatch]:
    """Return the uploaded files without their content, newest first."""
    return ImportBatch.objects.defer("content").select_related("uploaded_by")


def intervals(kind: str = "") -> QuerySet[ServiceInterval]:
    """Return the intervals, by kind of part."""
    rows = ServiceInterval.objects.select_related("part_type")
    return rows.filter(part_kind=kind) if kind else rows
