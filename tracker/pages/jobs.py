"""Job cards: the list, the card with its sections, signing, amending."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from tracker.actions import bench, job_cards, signing, swaps
from tracker.models import JobCard, JobTask, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, is_stale, show_conflict, status_for
from tracker.pages.job_forms import (
    AddTaskForm,
    AmendForm,
    CancelForm,
    FailureForm,
    MeasureForm,
    OdometerForm,
    OpenCardForm,
    SignForm,
    SwapForm,
    TaskForm,
    WordsForm,
    rated_words,
)
from tracker.pages.paging import asked, paged
from tracker.pages.roles import ALL, SIGNERS, page
from tracker.queries import lists
from tracker.queries.cards import CardPage, MeasureLine, TaskLine, card_page
from tracker.queries.life import distances_now

STATES = (("draft", "Open"), ("signed", "Signed"), ("cancelled", "Cancelled"), ("", "All"))
WORDS = ["complaint", "cause", "correction", "minutes"]


@page()
def jobs(request: HttpRequest) -> HttpResponse:
    """Job cards by state."""
    state = asked(request, "state", set(JobCard.State.values))
    text = asked(request, "q")
    context = {
        "tabs": STATES,
        "state": state,
        "text": text,
        "page": paged(request, lists.job_cards(state=state, text=text)),
    }
    return render(request, "desk/jobs.html", context)


@page()
def open_card(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Open a card for a trike."""
    trike = get_object_or_404(Trike, pk=trike_id)
    form = OpenCardForm(fields.sent(request))
    if form.is_bound and form.is_valid():
        card = carry_out(
            form, job_cards.open_card, trike_id=trike.pk, by=request.user, now=timezone.now(), **form.cleaned_data
        )
        if card is not None:
            return redirect("job", card.pk)
    return form_page(
        request,
        form,
        title="Open a job card",
        send="Open the card",
        back=f"/trikes/{trike.pk}/",
        of=f"Trike {trike}",
        lead="What is due now or may be done early is put on the card as proposed.",
    )


@page()
def job(request: HttpRequest, card_id: int) -> HttpResponse:
    """The card."""
    return _show(request, _page_of(card_id), {})


def _page_of(card_id: int) -> CardPage:
    found = card_page(card_id)
    if found is None:
        raise Http404
    return found


def _show(request: HttpRequest, found: CardPage, bound: dict[str, Any]) -> HttpResponse:
    """Draw the card; `bound` holds the form that was refused, under its section's key."""
    status = max((status_for(form) for form in bound.values()), default=200)
    context = {"found": found, "card": found.card, "trike": found.card.trike}
    if found.card.state != JobCard.State.DRAFT:
        context["amend"] = bound.get("amend") or AmendForm()
        return render(request, "desk/job_signed.html", context, status=status)
    card = found.card
    at = {"version": card.version}
    context |= {
        "odometer": _odometer(found, bound, at),
        "words": bound.get("words") or WordsForm(initial=at | {name: getattr(card, name) for name in WORDS}),
        "tasks": [_task(line, bound) for line in found.tasks],
        "add_task": bound.get("add_task") or AddTaskForm(found),
        "swap": bound.get("swap") or SwapForm(found),
        "failure": bound.get("failure") or FailureForm(found),
        "cancel": bound.get("cancel") or CancelForm(initial=at),
    }
    return render(request, "desk/job.html", context, status=status)


def _odometer(found: CardPage, bound: dict[str, Any], at: dict[str, Any]) -> OdometerForm:
    unit = found.owner.distance_unit if found.owner else "km"
    form = bound.get("odometer") or OdometerForm(initial=at | {"unit": unit})
    trike_id = found.card.trike_id
    form.expect(distances_now([trike_id], timezone.now())[trike_id], unit)
    return form


def _task(line: TaskLine, bound: dict[str, Any]) -> dict[str, Any]:
    row = line.row
    initial = {"component_id": row.component_id, "task": row.task, "note": row.note}
    key = f"task-{row.component_id}-{row.task}"
    measures = [_measure(measure, bound) for measure in line.measures]
    return {
        "line": line,
        "key": key,
        "form": bound.get(key) or TaskForm(initial=initial, auto_id=f"{key}_%s"),
        "rated": rated_words(row.component) if line.measures else [],
        "measures": measures,
        "open": key in bound or any(measure["key"] in bound for measure in measures),
    }


def _measure(line: MeasureLine, bound: dict[str, Any]) -> dict[str, Any]:
    key = _measure_key(line.component.pk, line.quantity.code)
    taken = line.taken
    initial = {
        "component_id": line.component.pk,
        "quantity": line.quantity.code,
        "instrument": line.quantity.instrument,
    }
    if line.quantity.unit == "kPa":
        initial["unit"] = "kPa" if taken else "bar"
    if taken:
        own = {name: value for name, value in taken.context.items() if line.known.get(name) != value}
        initial |= {"value": f"{taken.value:g}", "instrument": taken.instrument, **own}
    return {"line": line, "key": key, "form": bound.get(key) or MeasureForm(line, initial=initial, auto_id=f"{key}_%s")}


def _measure_key(component_id: int, quantity: str) -> str:
    return f"measure-{component_id}-{quantity}"


def _send(
    request: HttpRequest, found: CardPage, section: str, form: Any, action: Callable[..., Any],
    values: Callable[[], dict[str, Any]] | None = None,
) -> HttpResponse:  # fmt: skip
    """Carry out one section's action: on success back to the section, on refusal the card with what was typed."""
    if form.is_valid():
        given = values() if values else form.cleaned_data
        done = carry_out(form, action, card_id=found.card.pk, by=request.user, now=timezone.now(), **given)
        if done is not None:
            return redirect(f"/jobs/{found.card.pk}/#{section}")
        if is_stale(form):
            show_conflict(form, found.card, [name for name in WORDS if name in form.fields])
    fresh = _page_of(found.card.pk)
    if fresh.card.state != JobCard.State.DRAFT or not form.fields:
        messages.warning(request, "Not saved. " + " ".join(form.non_field_errors()), extra_tags="stop")
        section = "closed"
    return _show(request, fresh, {section: form})


@page()
@require_POST
def odometer(request: HttpRequest, card_id: int) -> HttpResponse:
    """Save the odometer section."""
    return _send(request, _page_of(card_id), "odometer", OdometerForm(request.POST), job_cards.take_odometer)


@page()
@require_POST
def words(request: HttpRequest, card_id: int) -> HttpResponse:
    """Save complaint, cause, correction and minutes."""
    form = WordsForm(request.POST)
    return _send(
        request, _page_of(card_id), "words", form, job_cards.update_card,
        lambda: {"version": form.cleaned_data["version"], "changes": form.changes()},
    )  # fmt: skip


@page()
@require_POST
def task(request: HttpRequest, card_id: int) -> HttpResponse:
    """Tick a task done, defer it, put it back or take it off."""
    found = _page_of(card_id)
    key = f"task-{request.POST.get('component_id', '')[:20]}-{request.POST.get('task', '')[:40]}"
    form = TaskForm(request.POST, auto_id=f"{key}_%s")
    if request.POST.get("outcome") == "drop":
        return _send(request, found, key, form, bench.drop_task, lambda: form.only("component_id", "task"))
    return _send(request, found, key, form, bench.set_task)


@page()
@require_POST
def add_task(request: HttpRequest, card_id: int) -> HttpResponse:
    """Put one more task on the card."""
    found = _page_of(card_id)
    form = AddTaskForm(found, request.POST)
    outcome = JobTask.Outcome.PROPOSED.value
    return _send(request, found, "add_task", form, bench.set_task, lambda: {"outcome": outcome, **form.chosen()})


@page()
@require_POST
def measure(request: HttpRequest, card_id: int) -> HttpResponse:
    """Keep a measured value; its verdict in words stands there when the page comes back."""
    found = _page_of(card_id)
    asked_for = (request.POST.get("component_id", ""), request.POST.get("quantity", ""))
    lines = {(str(m.component.pk), m.quantity.code): m for line in found.tasks for m in line.measures}
    if asked_for not in lines:
        raise Http404
    key = f"measure-{asked_for[0]}-{asked_for[1]}"
    form = MeasureForm(lines[asked_for], request.POST, auto_id=f"{key}_%s")
    return _send(request, found, key, form, bench.record_measurement, form.measured)


@page()
@require_POST
def swap(request: HttpRequest, card_id: int) -> HttpResponse:
    """Plan a swap, or take a planned one off."""
    found = _page_of(card_id)
    if request.POST.get("drop"):
        position = request.POST["drop"][:20]
        return _send(request, found, "swap", fields.Form({}), swaps.drop_swap, lambda: {"position": position})
    return _send(request, found, "swap", SwapForm(found, request.POST), swaps.plan_swap)


@page()
@require_POST
def failure(request: HttpRequest, card_id: int) -> HttpResponse:
    """Record a failure."""
    found = _page_of(card_id)
    return _send(request, found, "failure", FailureForm(found, request.POST), bench.record_failure)


@page(see=ALL, do=SIGNERS)
def sign(request: HttpRequest, card_id: int) -> HttpResponse:
    """Look the card over and sign it; the password is asked once more."""
    found = _page_of(card_id)
    if found.card.state != JobCard.State.DRAFT and request.method == "GET":
        return redirect("job", card_id)
    form = SignForm(fields.sent(request), initial={"version": found.card.version})
    if form.is_bound and form.is_valid() and _is_me(request, form):
        done = carry_out(
            form,
            signing.sign_card,
            card_id=card_id,
            version=form.cleaned_data["version"],
            by=request.user,
            now=timezone.now(),
        )
        if done is not None:
            messages.success(request, f"Job card {done.number} is signed. The due list has moved.")
            return redirect("job", card_id)
        if is_stale(form):
            show_conflict(form, found.card, [])
        found = _page_of(card_id)
    context = {"found": found, "card": found.card, "trike": found.card.trike, "form": form}
    return render(request, "desk/job_sign.html", context, status=status_for(form))


def _is_me(request: HttpRequest, form: SignForm) -> bool:
    """Whether the password is that of who is logged in; otherwise say so beside the field."""
    user = authenticate(request, username=request.user.get_username(), password=form.cleaned_data["password"])
    if user is not None and user.pk == request.user.pk:
        return True
    form.add_error("password", "This is not your password. Nothing was signed.")
    return False


@page()
@require_POST
def cancel(request: HttpRequest, card_id: int) -> HttpResponse:
    """Cancel an open card."""
    return _send(request, _page_of(card_id), "cancel", CancelForm(request.POST), job_cards.cancel_card)


@page(see=ALL, do=SIGNERS)
@require_POST
def amend(request: HttpRequest, card_id: int) -> HttpResponse:
    """Write an amendment to a signed card."""
    found = _page_of(card_id)
    form = AmendForm(request.POST)
    if form.is_valid():
        done = carry_out(
            form, job_cards.amend_card, card_id=card_id, by=request.user, now=timezone.now(), **form.cleaned_data
        )
        if done is not None:
            messages.success(request, "The amendment is in the logbook.")
            return redirect("job", card_id)
    return _show(request, found, {"amend": form})
