"""The bench: a card per task with its caution, its numbers and one Done; swaps by scanning what goes in."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from services.positions import POSITIONS
from tracker.actions import drafts, swaps
from tracker.actions.bench import set_task
from tracker.actions.card_steps import ChangedMeanwhile
from tracker.models import JobTask
from tracker.pages import fields
from tracker.pages.answers import carry_out
from tracker.pages.card_pages import address_of, after, closed, is_draft, page_of, show_step
from tracker.pages.job_forms import (
    MeasureForm,
    SwapForm,
    SwapRowForm,
    TaskForm,
    measure_key,
    rated_words,
    task_key,
)
from tracker.pages.kept_fields import keep
from tracker.pages.roles import page
from tracker.queries.card_flow import leaving, limits_of, uses_of
from tracker.queries.cards import CardPage, MeasureLine, TaskLine

NOT_MEASURED = "Not measured yet. Type the value, or press this task’s own Done to leave it out."
OUTCOMES = {"done": "done", "clean": "done", "again": "proposed", "later": "deferred"}
CLEAN = "clean"  # a bulletin's work: inspected, and nothing of it found


class ScanForm(fields.Form):
    """The serial of what goes in; its place is known from its kind, or chosen where there are several."""

    also = {"position": "place"}
    new_serial = fields.scan("Scan the new serial", required=False)
    place = forms.CharField(required=False, max_length=20)


class BenchForms:
    """Every form of the page; several tasks may ask for one quantity of one part, which is measured once."""

    def __init__(self, found: CardPage, data: Any = None) -> None:
        self.tasks = {task_key(line): TaskForm(line, data) for line in found.ticked_tasks}
        lines = {measure_key(m.component.pk, m.quantity.code): m for line in found.ticked_tasks for m in line.measures}
        self.measures = {key: MeasureForm.of(line, data) for key, line in lines.items()}
        self.swaps = {swap.position: SwapRowForm(swap, data) for swap in found.swaps}
        self.scan = ScanForm(data)
        self.whole = fields.Form({})
        self.whole.is_valid()

    @property
    def all(self) -> list[forms.Form]:
        """All of them."""
        return [*self.tasks.values(), *self.measures.values(), *self.swaps.values(), self.scan, self.whole]

    @property
    def is_refused(self) -> bool:
        """Whether anything is to be shown in place."""
        return any(form.errors for form in self.all)


@page()
def bench(request: HttpRequest, card_id: int) -> HttpResponse:
    """What is done and measured; every button keeps everything that was typed."""
    found = page_of(card_id)
    if not is_draft(found):
        return closed(request, found)
    data = fields.sent(request)
    by_hand = SwapForm(found, data if data and "by_hand" in data else None)
    sent = BenchForms(found, None if by_hand.is_bound else data)
    by = {"card_id": card_id, "by": request.user, "now": timezone.now()}
    if by_hand.is_bound and _by_hand(by_hand, by):
        return redirect(f"{address_of(found, 'bench')}#swaps")
    if sent.scan.is_bound:
        if done := _sent(request, found, sent, by):
            return done
        found = page_of(card_id)
    return _show(request, found, sent, by_hand)


def _show(request: HttpRequest, found: CardPage, sent: BenchForms, by_hand: SwapForm) -> HttpResponse:
    drawn, shown_measures = BenchForms(found), set()
    along, still_open = found.along, {task_key(line) for line in found.open_tasks}
    lines = sorted(found.ticked_tasks, key=lambda line: along.get(line.row.task, ""))  # what comes along stands last
    rows = [_task(line, sent, drawn, shown_measures, along) for line in lines]
    for row in rows:
        row["settled"] = (
            row["along"] and row["line"].row.outcome == JobTask.Outcome.PROPOSED and row["key"] not in still_open
        )
    first = next((row for row in rows if row["open"]), None)
    if first and first["measures"]:
        first["measures"][0]["form"].fields["value"].widget.attrs["autofocus"] = True
    lives = leaving(found, timezone.now())
    no_value = first["key"] if first and not first["measures"] else ""
    context = {
        "rows": rows, "first": no_value, "scan": sent.scan, "whole": sent.whole, "places": _places(found, sent.scan),
        "swap_rows": [_swap(swap, sent, drawn, lives) for swap in found.swaps], "by_hand": by_hand,
        "open": len(found.open_tasks),
    }  # fmt: skip
    return show_step(request, found, "bench", context, [*sent.all, by_hand])


def _task(
    line: TaskLine, sent: BenchForms, drawn: BenchForms, shown: set[str], along: dict[str, str]
) -> dict[str, Any]:
    key, measures = task_key(line), []
    for measure in line.measures:
        name = measure_key(measure.component.pk, measure.quantity.code)
        if name not in shown:
            shown.add(name)
            measures.append(_measure(measure, _refused_or_fresh(name, sent.measures, drawn.measures)))
    form = _refused_or_fresh(key, sent.tasks, drawn.tasks)
    is_open = line.row.outcome == JobTask.Outcome.PROPOSED
    refused = bool(form.errors) or any(measure["form"].errors for measure in measures)
    return {
        "line": line, "key": key, "form": form, "measures": measures, "open": is_open or refused,
        "along": along.get(line.row.task, ""), "refused": refused,
        "rated": rated_words(line.row.component) if line.measures else [], "uses": uses_of(line),
        "code": f"{line.row.component_id}:{line.row.task}",
    }  # fmt: skip


def _refused_or_fresh(key: str, sent: dict, drawn: dict) -> Any:
    """What was refused is shown as it was typed; all else as it stands now."""
    typed = sent.get(key)
    return typed if typed is not None and typed.is_bound and typed.errors else drawn.get(key, typed)


def _measure(measure: MeasureLine, form: MeasureForm) -> dict[str, Any]:
    return {
        "line": measure, "form": form, "key": form.prefix, "limit": limits_of(measure),
        "code": f"{measure.component.pk}:{measure.quantity.code}", "base": form.base if form.is_bound else form.stored,
    }  # fmt: skip


def _swap(swap: Any, sent: BenchForms, drawn: BenchForms, lives: dict) -> dict[str, Any]:
    return {
        "swap": swap, "form": _refused_or_fresh(swap.position, sent.swaps, drawn.swaps),
        "life": lives.get(swap.old_component_id),
    }  # fmt: skip


def _places(found: CardPage, scan: ScanForm) -> list[tuple[str, str]]:
    """The places a scanned part may go into, where there are several."""
    refusal = getattr(scan, "refusal", None)
    if getattr(refusal, "code", "") != "which-place":
        return []
    held = {fitment.position: str(fitment.component) for fitment in found.fitments}
    return [(code, f"{POSITIONS[code].title}: {held.get(code, 'empty')}") for code in refusal.facts["positions"]]


# Sending


def _sent(request: HttpRequest, found: CardPage, sent: BenchForms, by: dict[str, Any]) -> HttpResponse | None:
    """Keep everything typed, then do what the button says; None where something is to be shown in place."""
    for form in sent.all:
        form.is_valid()
    for form in sent.measures.values():
        keep_measure(form, by)
    for form in sent.tasks.values():
        _keep_note(form, by)
    for position, form in sent.swaps.items():
        for name, value, base in form.touched():
            keep(form, name, drafts.keep_swap, position=position, field=name, value=value, base=base, **by)
    _scan(sent.scan, by)
    pressed = {name: request.POST[name] for name in (*OUTCOMES, "unswap") if name in request.POST}
    for name, value in pressed.items():
        _press(found, sent, name, value, by)
    if "all" in request.POST:
        _finish(found, sent, by)
    if sent.is_refused:
        return None
    if {"all", "go"} & set(request.POST):
        return after(found, "bench")
    return redirect(f"{address_of(found, 'bench')}{'#swaps' if sent.scan.data.get('new_serial') else ''}")


def keep_measure(form: MeasureForm, by: dict[str, Any]) -> bool:
    """Keep one measurement as it was sent; a refusal or a clash stands on its form."""
    if form.add_prefix("value") not in form.data:
        return True
    if form.is_empty:
        for name in [name for name in form.errors if name != "value"]:
            del form._errors[name]
        values = {"value": None}
    elif form.errors:
        return False
    else:
        values = form.measured()
    which = {"component_id": form.line.component.pk, "quantity_code": form.line.quantity.code}
    form.section = f"measure:{which['component_id']}"
    keep(form, which["quantity_code"], drafts.keep_measurement, base=form.base, **which, **values, **by)
    if isinstance(form.refusal, ChangedMeanwhile):
        form.clashes = {"value": form.clashes[which["quantity_code"]]}
        form.theirs = form.refusal.facts["theirs"]
    return not form.errors


def _keep_note(form: TaskForm, by: dict[str, Any]) -> None:
    _, component_id, task = form.section.split(":", 2)
    for name, value, base in form.touched():
        keep(
            form, name, drafts.keep_task, component_id=int(component_id), task=task, field=name, value=value,
            base=base, **by,
        )  # fmt: skip


def _scan(form: ScanForm, by: dict[str, Any]) -> None:
    serial = form.cleaned_data.get("new_serial", "") if not form.errors else ""
    if serial:
        carry_out(form, swaps.swap_in, new_serial=serial, position=form.cleaned_data["place"], **by)


def _press(found: CardPage, sent: BenchForms, name: str, value: str, by: dict[str, Any]) -> None:
    """Carry out the button of one task or one swap. Nothing is done with a task whose values were refused."""
    if name == "unswap":
        carry_out(sent.whole, swaps.drop_swap, position=value[:20], **by)
        return
    line = next((line for line in found.ticked_tasks if value == f"{line.row.component_id}:{line.row.task}"), None)
    if line is None:
        sent.whole.add_error(None, "This task is no longer on the card.")
        return
    if not any(sent.measures[measure_key(m.component.pk, m.quantity.code)].errors for m in line.measures):
        _set(line, OUTCOMES[name], sent, by, not_affected=name == CLEAN)


def _set(line: TaskLine, outcome: str, sent: BenchForms, by: dict[str, Any], *, not_affected: bool = False) -> None:
    form = sent.tasks[task_key(line)]
    if line.bulletin is not None and outcome == JobTask.Outcome.DONE:
        which = {"component_id": line.row.component_id, "task": line.row.task, "not_affected": not_affected}
        carry_out(form, set_task, outcome=outcome, note=form.cleaned_data.get("note", line.row.note), **which, **by)
        return
    base = form.data.get(f"base-{form.add_prefix('outcome')}", line.row.outcome)
    keep(
        form, "outcome", drafts.keep_task, component_id=line.row.component_id, task=line.row.task, field="outcome",
        value=outcome, base=base, **by,
    )  # fmt: skip


def _finish(found: CardPage, sent: BenchForms, by: dict[str, Any]) -> None:
    """All measured, all done: what is measured is done; what is not says so beside its field."""
    for line in found.open_tasks:
        mine = [sent.measures[measure_key(m.component.pk, m.quantity.code)] for m in line.measures]
        for form in mine:
            if form.is_empty and not form.errors:
                form.add_error("value", NOT_MEASURED)
        if not any(form.errors for form in mine):
            _set(line, "done", sent, by)


def _by_hand(form: SwapForm, by: dict[str, Any]) -> bool:
    """Plan a swap by position: a place left empty, a part without a serial."""
    return form.is_valid() and carry_out(form, swaps.plan_swap, **form.cleaned_data, **by) is not None
