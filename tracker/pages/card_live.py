"""What the job card's script asks and sends while somebody types: a word on a value, and one field to keep."""

import json
from typing import Any

from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from services.errors import Refusal
from tracker.actions import drafts
from tracker.actions.bench import in_stored_unit
from tracker.pages import fields
from tracker.pages.answers import sentence
from tracker.pages.card_bench import keep_measure
from tracker.pages.card_pages import is_draft, page_of
from tracker.pages.job_forms import ComplaintForm, MeasureForm, SwapRowForm, TaskForm, WordsForm, measure_key, task_key
from tracker.pages.kept_fields import KeptForm, keep, one_line_end
from tracker.pages.reading_forms import TypedReading
from tracker.pages.roles import page
from tracker.queries.card_flow import judged, steps_of
from tracker.queries.card_texts import measured_text
from tracker.queries.cards import CardPage, MeasureLine
from tracker.queries.plausible import word_on_reading


@page()
@require_GET
def odometer_word(request: HttpRequest, card_id: int) -> JsonResponse:
    """Return whether a value that is being typed is inside what is expected of this trike, or what it looks like."""
    found, form = page_of(card_id), TypedReading(request.GET)
    form.is_valid()
    value, unit = form.cleaned_data.get("value"), form.cleaned_data.get("unit")
    if value is None or not unit:
        return _refused(form, "value")
    level, words = word_on_reading(found.card.trike_id, value, unit, timezone.now())
    return JsonResponse({"level": level, "words": words})


@page()
@require_GET
def judge(request: HttpRequest, card_id: int) -> JsonResponse:
    """Return what a value that is being typed means, in the words of its kind of service. Nothing is kept."""
    found = page_of(card_id)
    line = _measure_line(found, request.GET.get("measure", ""))
    if line is None:
        return _gone()
    form = MeasureForm(line, request.GET)
    if not form.is_valid() or form.cleaned_data["value"] is None:
        return _refused(form, "value")
    values = form.measured()
    try:
        stored = in_stored_unit(values["value"], values["unit"], line.quantity.unit)
        verdict = judged(line, stored, values["context"])
    except Refusal as refusal:
        return JsonResponse({"said": sentence(refusal), "field": refusal.field}, status=422)
    return JsonResponse({"level": verdict.level, "words": verdict.words})


@page()
@require_POST
def save(request: HttpRequest, card_id: int) -> JsonResponse:
    """Keep one field: {section, field, value, base}. 409 with what stands there and whose it is, where both differ."""
    found = page_of(card_id)
    if not is_draft(found):
        return JsonResponse({"said": f"Job card {found.card} is {found.card.get_state_display()}."}, status=410)
    section, field = (request.POST.get(name, "")[:120] for name in ("section", "field"))
    by = {"card_id": card_id, "by": request.user, "now": timezone.now()}
    if section == "measure":
        return _save_measure(found, field, request.POST, by)
    form, name, action, which = _form_of(found, section, field)
    if form is None:
        return _gone()
    value, base = (one_line_end(request.POST.get(key, "")) for key in ("value", "base"))
    form.is_valid()
    done = keep(form, name, action, field=name, value=value, base=base, **which, **by)
    return _told(found, {"base": value}, section) if done else _not_kept(form, name)


def _form_of(found: CardPage, section: str, field: str) -> tuple[KeptForm | None, str, Any, dict[str, Any]]:
    """The form a field belongs to, bound to nothing else; its name there, the action, and what the action must know."""
    key, _, name = field.rpartition(":")
    if section == "words":
        stored = {each: str(getattr(found.card, each)) for each in ("complaint", "cause", "correction", "minutes")}
        kind = ComplaintForm if name == "complaint" else WordsForm
        own = {each: text for each, text in stored.items() if each in kind.base_fields}
        return (kind(own, {}), name, drafts.keep_words, {}) if name in own else (None, "", None, {})
    if section == "task":
        line = next((each for each in found.tasks if task_key(each) == f"task-{key.replace(':', '-')}"), None)
        component, _, task = key.partition(":")
        if line is not None and name in {"note", "outcome"}:
            return TaskForm(line, {}), name, drafts.keep_task, {"component_id": int(component), "task": task}
    swap = next((each for each in found.swaps if section == "swap" and each.position == key), None)
    if swap is not None and name in {"fate", "reason"}:
        return SwapRowForm(swap, {}), name, drafts.keep_swap, {"position": key}
    return None, "", None, {}


def _measure_line(found: CardPage, code: str) -> MeasureLine | None:
    lines = (measure for line in found.tasks for measure in line.measures)
    return next((row for row in lines if f"{row.component.pk}:{row.quantity.code}" == code), None)


def _save_measure(found: CardPage, code: str, data: Any, by: dict[str, Any]) -> JsonResponse:
    """One measurement as a whole; `value` is an object of its inputs."""
    line = _measure_line(found, code)
    inputs = _object(data.get("value", ""))
    if line is None or inputs is None:
        return _gone()
    key = measure_key(line.component.pk, line.quantity.code)
    typed = {f"{key}-{name}": str(value) for name, value in inputs.items()} | {f"{key}-base": data.get("base", "")}
    form = MeasureForm(line, typed, prefix=key)
    form.is_valid()
    if not keep_measure(form, by):
        return _not_kept(form, "value")
    kept = found.card.measurements.filter(component=line.component, quantity=line.quantity.code).first()
    told = {"base": measured_text(kept), "level": kept.level, "words": kept.words} if kept else {"base": ""}
    return _told(found, told, "measure")


def _told(found: CardPage, answer: dict[str, Any], section: str) -> JsonResponse:
    """The answer with what the steps still need now. Words change no step but their own, and that one needs nothing."""
    if section != "words":
        steps = steps_of(page_of(found.card.pk))
        answer["steps"] = {step.code: [step.state, step.words] for step in steps if step.code in {"tasks", "bench"}}
    return JsonResponse(answer)


def _object(text: str) -> dict[str, Any] | None:
    try:
        found = json.loads(text)
    except ValueError:
        return None
    return found if isinstance(found, dict) and len(found) < 20 else None


def _not_kept(form: fields.Form, name: str) -> JsonResponse:
    """Tell a clash with what stands there and whose it is, else what was refused."""
    clash = getattr(form, "clashes", {}).get(name)
    return JsonResponse(clash, status=409) if clash else _refused(form, name)


def _refused(form: fields.Form, name: str) -> JsonResponse:
    said = form.errors.get(name) or next(iter(form.errors.values()), ["Type a value."])
    status = getattr(form, "answer_status", 422)
    field = name if name in form.errors else next(iter(form.errors), name)
    return JsonResponse({"said": " ".join(said), "field": field}, status=status)


def _gone() -> JsonResponse:
    return JsonResponse({"said": "This is no longer on the card. Load the page again."}, status=422)
