"""What every step of the job card's flow has: the card, the bar of steps, an answer for cards that are closed."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse

from tracker.models import JobCard
from tracker.pages.answers import status_for
from tracker.pages.job_forms import AmendForm
from tracker.queries.card_flow import STEPS, steps_of
from tracker.queries.cards import CardPage, card_page
from tracker.queries.photos import photos_of
from tracker.queries.release import Release, release_of

NAMES = {
    "intake": "job-intake",
    "tasks": "job-tasks",
    "bench": "job-bench",
    "findings": "job-findings",
    "sign": "sign-job",
}
BESIDE = (
    ("release", "Test ride and release"),
    ("photos", "Photos"),
    ("summary", "Summary for the owner"),
    ("card-paper", "Card on paper"),
)


def page_of(card_id: int) -> CardPage:
    """Return the card. Raises Http404."""
    found = card_page(card_id)
    if found is None:
        raise Http404
    return found


def is_draft(found: CardPage) -> bool:
    """Whether the card can still be worked on."""
    return found.card.state == JobCard.State.DRAFT


def address_of(found: CardPage, step: str) -> str:
    """Return the address of a step, or of what stands beside the card."""
    return reverse(NAMES.get(step, step), args=[found.card.pk])


def after(found: CardPage, step: str) -> HttpResponse:
    """Go on to the step after this one; from the findings by way of the release where the work demands one."""
    if step == "findings" and release_of(found.card).is_missing:
        return redirect(address_of(found, "release"))
    codes = [code for code, _ in STEPS]
    return redirect(address_of(found, codes[codes.index(step) + 1]))


def closed(request: HttpRequest, found: CardPage) -> HttpResponse:
    """Answer what comes for a card that is signed or cancelled: nothing is kept, and the card says why."""
    if request.method == "GET":
        return redirect("job", found.card.pk)
    remedy = "Write an amendment." if found.card.state == JobCard.State.SIGNED else "Open a new card."
    words = f"Not saved. Job card {found.card} is {found.card.get_state_display()}. {remedy}"
    messages.warning(request, words, extra_tags="stop")
    return show_closed(request, found, AmendForm(), status=409)


def show_closed(request: HttpRequest, found: CardPage, amend: AmendForm, status: int = 200) -> HttpResponse:
    """Draw a signed or cancelled card."""
    card = found.card
    context = {
        "found": found, "card": card, "trike": card.trike, "amend": amend, "beside": _beside(found),
        "release": release_of(card), "photos": photos_of(card.pk),
    }  # fmt: skip
    return render(request, "desk/job_signed.html", context, status=status)


def show_step(
    request: HttpRequest,
    found: CardPage,
    step: str,
    context: dict[str, Any],
    forms: Any = (),
    release: Release | None = None,
) -> HttpResponse:
    """Draw a step of an open card. `forms` are those that may have been refused: they tell the answer's status."""
    release = release or release_of(found.card)
    steps = steps_of(found, release)
    here = next(index for index, row in enumerate(steps) if row.code == step)
    whole = context | {
        "found": found, "card": found.card, "trike": found.card.trike, "release": release, "beside": _beside(found),
        "steps": [(row, address_of(found, row.code)) for row in steps], "here": step,
        "back": address_of(found, steps[here - 1].code) if here else "",
        "next": address_of(found, steps[here + 1].code) if here + 1 < len(steps) else "",
    }  # fmt: skip
    status = max((status_for(form) for form in forms), default=200)
    return render(request, f"desk/job_{step}.html", whole, status=status)


def _beside(found: CardPage) -> list[tuple[str, str]]:
    """The pages beside the flow that there are."""
    rows = []
    for name, words in BESIDE:
        try:
            rows.append((words, address_of(found, name)))
        except NoReverseMatch:
            continue
    return rows
