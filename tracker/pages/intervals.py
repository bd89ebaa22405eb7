"""Intervals: when each task falls due, for a kind of part or for one part type. Read by all, changed by reviewers."""

from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.kinds import all_tasks, tasks_for
from services.parts import PART_KINDS
from tracker.actions import schedule
from tracker.models import PartType, ServiceInterval
from tracker.models.fleet import part_kinds
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, show_conflict, status_for
from tracker.pages.interval_words import change_words
from tracker.pages.kind_choice import choose_kind, chosen_kind
from tracker.pages.paging import asked
from tracker.pages.roles import RULERS, page
from tracker.queries import lists
from tracker.queries.interval_changes import changes_of_interval

NUMBERS = [
    "first_km", "first_days", "first_hours", "first_cycles", "every_km", "every_months", "every_days", "every_hours",
    "every_cycles", "early_km", "early_days",
]  # fmt: skip
CHANGEABLE = [*NUMBERS, "rebase", "once", "source"]
CHANGES_SHOWN = 20


class IntervalForm(fields.Form):
    """First at, then every; whichever comes first. Empty means: this does not count."""

    first_km = fields.number("Distance", unit="km", required=False)
    first_days = fields.whole("Days", required=False)
    first_hours = fields.number("Motor hours", required=False)
    first_cycles = fields.number("Charge cycles", required=False)
    every_km = fields.number("Distance", unit="km", required=False)
    every_months = fields.whole("Months", required=False)
    every_days = fields.whole("Days", required=False)
    every_hours = fields.number("Motor hours", required=False)
    every_cycles = fields.number("Charge cycles", required=False)
    early_km = fields.number("Distance", unit="km", required=False)
    early_days = fields.whole("Days", required=False)
    rebase = fields.choice("The next one counts", ServiceInterval.Rebase.choices)
    once = fields.tick("Once only")
    source = fields.text(
        "Where the figures come from", 200, help_text="A maker's manual, a test, a decision with its date."
    )
    version = fields.version()

    def values(self) -> dict[str, Any]:
        """Return the interval's values; an empty early window is none."""
        cleaned = {name: self.cleaned_data[name] for name in CHANGEABLE}
        return cleaned | {"early_km": cleaned["early_km"] or 0.0, "early_days": cleaned["early_days"] or 0}


@page()
def intervals(request: HttpRequest) -> HttpResponse:
    """All intervals by kind of part, in words."""
    kind = asked(request, "kind", set(PART_KINDS))
    titles = {task.code: task for task in all_tasks()}
    rows = [(row, titles.get(row.task), in_words(row)) for row in lists.intervals(kind)]
    groups = [
        (PART_KINDS[code].title if code in PART_KINDS else code, list(found))
        for code, found in groupby(rows, key=lambda entry: entry[0].part_kind)
    ]
    return render(request, "desk/intervals.html", {"groups": groups, "kinds": part_kinds(), "kind": kind})


def in_words(row: ServiceInterval) -> dict[str, str]:
    """Return an interval as the desk says it."""
    first = _or(
        _one(row.first_km, "km"),
        _one(row.first_days, "days"),
        _one(row.first_hours, "h"),
        _one(row.first_cycles, "cycles"),
    )
    every = _or(
        _one(row.every_km, "km"), _one(row.every_months, "months"), _one(row.every_days, "days"),
        _one(row.every_hours, "motor hours"), _one(row.every_cycles, "charge cycles"),
    )  # fmt: skip
    early = _or(_one(row.early_km, "km"), _one(row.early_days, "days"))
    return {"first": first, "every": "once only" if row.once else every, "early": early}


def _one(value: float | None, unit: str) -> str:
    return f"{value:,.0f} {unit if value != 1 else unit.removesuffix('s')}" if value else ""


def _or(*told: str) -> str:
    return " or ".join(word for word in told if word)


@page(do=RULERS)
def change(request: HttpRequest, interval_id: int) -> HttpResponse:
    """Change one interval. The due list follows with the next sweep."""
    row = get_object_or_404(ServiceInterval.objects.select_related("part_type"), pk=interval_id)
    form = IntervalForm(fields.sent(request), initial={name: getattr(row, name) for name in [*CHANGEABLE, "version"]})
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, schedule.set_interval, interval_id=row.pk, version=form.cleaned_data["version"], values=form.values(),
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved. The due list follows with the next sweep.")
            return redirect("intervals")
        if is_stale(form):
            show_conflict(form, row, CHANGEABLE)
    task = next((task for task in all_tasks() if task.code == row.task), None)
    changes = [change_words(kept) for kept in changes_of_interval(row)[:CHANGES_SHOWN]]
    context = {"row": row, "task": task, "title": task.title if task else row.task, "changes": changes}
    return _page(request, form, context)


@page(see=RULERS, do=RULERS)
def add_for_kind(request: HttpRequest) -> HttpResponse:
    """Give a whole kind of part an interval for a task that has none yet."""
    kind = chosen_kind(request)
    if not kind:
        return choose_kind(request, "Add an interval", back="/intervals/", of="Intervals")
    held = set(ServiceInterval.objects.filter(part_kind=kind, part_type=None).values_list("task", flat=True))
    return _add(request, f"An interval for every {PART_KINDS[kind].title.lower()}", kind, None, held)


@page(see=RULERS, do=RULERS)
def add_for_part_type(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """Give one part type an interval of its own: it then wins over its kind's."""
    part_type = get_object_or_404(PartType, pk=part_type_id)
    held = set(part_type.intervals.values_list("task", flat=True))
    return _add(request, f"An interval of its own for {part_type.name}", part_type.kind, part_type, held)


def _add(request: HttpRequest, title: str, kind: str, part_type: PartType | None, held: set[str]) -> HttpResponse:
    """The page that adds an interval, for one of the tasks of `kind` that are not in `held`."""
    form = IntervalForm(fields.sent(request), initial={"early_days": 14, "early_km": 0, "version": 0})
    tasks = [(task.code, task.title) for task in tasks_for(kind) if task.code not in held]
    form.fields = {"task": fields.choice("Task", tasks), **form.fields}
    if form.is_bound and form.is_valid():
        values = form.values() | {
            "task": form.cleaned_data["task"], "part_kind": kind, "part_type_id": part_type.pk if part_type else None,
        }  # fmt: skip
        done = carry_out(form, schedule.set_interval, values=values, by=request.user, now=timezone.now())
        if done is not None:
            messages.success(request, "Saved. The due list follows with the next sweep.")
            return redirect("part-type", part_type.pk) if part_type else redirect(f"/intervals/?kind={kind}")
    return _page(request, form, {"part_type": part_type, "title": title, "none_left": not tasks})


def _page(request: HttpRequest, form: IntervalForm, context: dict[str, Any]) -> HttpResponse:
    return render(request, "desk/interval.html", {"form": form, **context}, status=status_for(form))
