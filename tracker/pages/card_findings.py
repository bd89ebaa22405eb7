"""Findings: cause and correction in words, and what failed, from short lists per kind of part."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from services.kinds import bench_minutes
from services.positions import POSITIONS
from tracker.actions import bench, drafts
from tracker.models import Component, JobTask
from tracker.pages import fields
from tracker.pages.answers import carry_out
from tracker.pages.card_pages import address_of, after, closed, is_draft, page_of, show_step
from tracker.pages.job_forms import FailureForm, WordsForm
from tracker.pages.kept_fields import keep
from tracker.pages.roles import page
from tracker.queries.cards import CardPage

WORDS = ("cause", "correction", "minutes")


@page()
def findings(request: HttpRequest, card_id: int) -> HttpResponse:
    """Words and failures; going on keeps both."""
    found = page_of(card_id)
    if not is_draft(found):
        return closed(request, found)
    data = fields.sent(request)
    words = WordsForm(_stored(found), data)
    words.fields["cause"].widget.attrs["autofocus"] = "failed" not in request.GET
    failed = _part(found, (data or request.GET).get("failure-component_id") or request.GET.get("failed", ""))
    failure = _failure(failed, data)
    if data is not None:
        if done := _sent(request, found, words, failure):
            return done
        found = page_of(card_id)
    book = bench_minutes(line.row.task for line in found.tasks if line.row.outcome == JobTask.Outcome.DONE)
    context = {
        "words": words, "failure": failure, "failed": failed, "parts": _parts(found),
        "by_the_book": f"By the book: {book} minutes." if book else "",
    }  # fmt: skip
    return show_step(request, found, "findings", context, [form for form in (words, failure) if form])


def _stored(found: CardPage) -> dict[str, str]:
    card = found.card
    return {"cause": card.cause, "correction": card.correction, "minutes": str(card.minutes or "")}


def _parts(found: CardPage) -> list[tuple[int, str, bool]]:
    """Return (component, words, worked on) of what may have failed: what this card touches comes first."""
    touched = {line.row.component_id for line in found.ticked_tasks} | {row.old_component_id for row in found.swaps}
    rows = [
        (row.component_id, f"{POSITIONS[row.position].title}: {row.component}", row.component_id in touched)
        for row in found.fitments
    ]
    return sorted(rows, key=lambda row: not row[2])


def _part(found: CardPage, asked: str) -> Component | None:
    """The component on the trike that was chosen, or None."""
    return next((row.component for row in found.fitments if str(row.component_id) == asked), None)


def _failure(part: Component | None, data: Any) -> FailureForm | None:
    """The form of the chosen part. Nothing of it is asked before its mode is chosen."""
    if part is None:
        return None
    typed = data if data is not None and data.get("failure-mode") else None
    return FailureForm(part.part_type.kind, typed, initial={"component_id": part.pk})


def _sent(request: HttpRequest, found: CardPage, words: WordsForm, failure: FailureForm | None) -> HttpResponse | None:
    """Keep the words and the failure, then go where the button says; None where something is to be shown in place."""
    by = {"card_id": found.card.pk, "by": request.user, "now": timezone.now()}
    words.is_valid()
    for name, value, base in words.touched():
        if name not in words.errors:
            keep(words, name, drafts.keep_words, field=name, value=value, base=base, **by)
    recorded = failure is None or not failure.is_bound or _recorded(failure, by)
    if words.errors or not recorded:
        return None
    chosen = request.POST.get("failed", "")
    if chosen.isascii() and chosen.isdigit():
        return redirect(f"{address_of(found, 'findings')}?failed={int(chosen)}#failure")
    if "record" in request.POST:
        return (
            redirect(f"{address_of(found, 'findings')}#failures")
            if failure and failure.is_bound
            else _ask_mode(failure)
        )
    return after(found, "findings")


def _recorded(failure: FailureForm, by: dict[str, Any]) -> bool:
    return failure.is_valid() and carry_out(failure, bench.record_failure, **failure.cleaned_data, **by) is not None


def _ask_mode(failure: FailureForm | None) -> None:
    """Record was pressed and no mode chosen: say so beside the list."""
    if failure is not None:
        failure.data, failure.is_bound = {}, True
        failure.full_clean()
