"""Messages to owners: what waits, what went out, what needs a person."""

from email import message_from_bytes, policy

from django.contrib import messages as flash
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from tracker.actions import outbox as outbox_actions
from tracker.models import OutboxMessage
from tracker.pages.answers import press
from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.queries import lists
from tracker.queries.outbox import kept_letter

TABS = (
    ("", "All"),
    ("waiting", "Waiting"),
    ("sent", "Sent"),
    ("failed", "Failed"),
    ("unknown", "Sent or not?"),
    ("back", "Came back"),
    ("dropped", "Not wanted"),
)


@page()
def messages(request: HttpRequest) -> HttpResponse:
    """Messages by state."""
    state = asked(request, "state", {*OutboxMessage.State.values, lists.BACK})
    counts = lists.message_counts()
    counts[""] = sum(number for code, number in counts.items() if code != lists.BACK)
    text = asked(request, "q")
    context = {
        "tabs": [(code, words, counts.get(code, 0)) for code, words in TABS], "state": state, "text": text,
        "page": paged(request, lists.messages(state=state, text=text)),
    }  # fmt: skip
    return render(request, "desk/messages.html", context)


@page()
def message(request: HttpRequest, message_id: int) -> HttpResponse:
    """One message with its text: as it went out, or as it would be written now."""
    row = get_object_or_404(OutboxMessage.objects.select_related("trike", "owner", "visit"), pk=message_id)
    letter = kept_letter(row)
    draft, why_not = (b"", "") if letter else outbox_actions.preview(row, timezone.now())
    told = letter or draft
    context = {"row": row, "text": readable(told) if told else "", "letter": letter, "why_not": why_not}
    return render(request, "desk/message.html", context)


def readable(letter: bytes) -> str:
    """Return the plain text of a kept mail, with what stands on its head."""
    parsed = message_from_bytes(letter, policy=policy.default)
    head = [f"{name}: {parsed[name]}" for name in ("From", "To", "Subject", "Date") if parsed[name]]
    body = parsed.get_body(preferencelist=("plain",))
    return "\n".join([*head, "", body.get_content() if body else ""])


@page()
def letter(request: HttpRequest, message_id: int) -> HttpResponse:
    """The kept .eml exactly as it went out, as plain text."""
    row = get_object_or_404(OutboxMessage, pk=message_id)
    content = kept_letter(row)
    if content is None:
        raise Http404
    return HttpResponse(content, content_type="text/plain; charset=utf-8")


@page()
@require_POST
def decide(request: HttpRequest, message_id: int) -> HttpResponse:
    """Send a failed message again, or say what became of an unknown one."""
    row = get_object_or_404(OutboxMessage, pk=message_id)
    given = {"message_id": row.pk, "by": request.user, "now": timezone.now()}
    choice = request.POST.get("choice", "")[:20]
    if choice == "retry":
        done = press(request, outbox_actions.retry_message, **given)
    else:
        done = press(request, outbox_actions.resolve_unknown, choice=choice, **given)
    if done is not None:
        flash.success(request, f"The message is {done.get_state_display()}.")
    return redirect("message", row.pk)
