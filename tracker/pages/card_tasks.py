"""Tasks: what is proposed stands ticked; unticked is deferred; others are added by searching."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from services.identity import fold_name
from services.kinds import bench_minutes
from tracker.actions import bench, drafts
from tracker.models import JobTask
from tracker.pages import fields
from tracker.pages.answers import carry_out
from tracker.pages.card_pages import address_of, after, closed, is_draft, page_of, show_step
from tracker.pages.job_forms import task_key
from tracker.pages.kept_fields import keep
from tracker.pages.roles import page
from tracker.queries.card_flow import reasons_of, uses_of
from tracker.queries.cards import CardPage, TaskLine, addable_tasks, bulletin_offers
from tracker.queries.clock import local_date

SHOWN = 12  # what a search offers at once


class OutcomeForm(fields.Form):
    """Whether one task is done now or later: a tick."""

    outcome = forms.CharField(required=False)

    def __init__(self, line: TaskLine, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, prefix=task_key(line), **kwargs)
        self.section, self.line, self.clashes = f"task:{line.row.component_id}:{line.row.task}", line, {}


@page()
def tasks(request: HttpRequest, card_id: int) -> HttpResponse:
    """The tasks of the card, ticked or not; a search for more."""
    found = page_of(card_id)
    if not is_draft(found):
        return closed(request, found)
    data, refused = fields.sent(request), fields.Form({})
    rows = [OutcomeForm(line, data) for line in found.tasks]
    if data is not None:
        refused.is_valid()
        if done := _sent(request, found, rows, refused):
            return done
        found = page_of(card_id)
    text = (data or request.GET).get("find", "").strip()[:80]
    return _show(request, found, rows, refused, text)


def _show(
    request: HttpRequest, found: CardPage, rows: list[OutcomeForm], refused: forms.Form, text: str
) -> HttpResponse:
    owner, forms_of = found.owner, {row.section: row for row in rows}
    reasons = reasons_of(found, local_date(timezone.now()), owner.distance_unit if owner else "km")
    along = found.along
    context = {
        "rows": [
            _row(line, reasons, forms_of.get(f"task:{line.row.component_id}:{line.row.task}"), along) for line in found.tasks
        ],
        "minutes": bench_minutes(line.row.task for line in found.ticked_tasks),
        "text": text, "offers": offers(found, text)[:SHOWN] if text else [], "refused": refused,
        "every": offers(found, ""), "bulletins": bulletin_offers(found),
    }  # fmt: skip
    return show_step(request, found, "tasks", context, (refused, *rows) if refused.errors else ())


def _row(line: TaskLine, reasons: dict, form: OutcomeForm | None, along: dict[str, str]) -> dict[str, Any]:
    status, reason = reasons.get((line.row.component_id, line.row.task), ("", ""))
    reason = reason.removeprefix(f"{line.task.title}: ")
    return {
        "line": line, "key": task_key(line), "status": status, "reason": f"{reason[:1].upper()}{reason[1:]}",
        "uses": uses_of(line), "along": along.get(line.row.task, ""), "is_early": status in {"", "ok"},
        "ticked": line.row.outcome != JobTask.Outcome.DEFERRED, "clash": form.clashes.get("outcome") if form else None,
    }  # fmt: skip


def offers(found: CardPage, text: str) -> list[tuple[str, str]]:
    """Return (component:task, words) of what could be added; all of `text`'s words must occur."""
    wanted = fold_name(text).split()
    rows = [
        (f"{fitment.component_id}:{task.code}", f"{task.title}: {_place(fitment)}")
        for fitment, free in addable_tasks(found)
        for task in free
    ]
    return [(pick, words) for pick, words in rows if all(word in fold_name(words) for word in wanted)]


def _place(fitment: Any) -> str:
    return f"{fitment.get_position_display()} {fitment.component}"


def _sent(request: HttpRequest, found: CardPage, rows: list[OutcomeForm], refused: forms.Form) -> HttpResponse | None:
    """Keep the ticks, then what the button said; None where something is to be shown in place."""
    for form in rows:
        form.is_valid()
        _keep_tick(request, found, form)
    if any(form.errors for form in rows):
        refused.add_error(None, "Somebody else changed a task meanwhile: look at the marked one.")
        refused.answer_status = 409
        return None
    data = request.POST
    if data.get("drop"):
        return _change(request, found, refused, bench.drop_task, data["drop"])
    pick = data.get("add") or _only_offer(found, data.get("find", ""))
    if pick:
        return _change(request, found, refused, bench.set_task, pick, outcome=JobTask.Outcome.PROPOSED.value)
    if data.get("find", "").strip():
        return None
    return after(found, "tasks")


def _keep_tick(request: HttpRequest, found: CardPage, form: OutcomeForm) -> None:
    """A tick that was changed on the page: off is deferred, on is to be done."""
    base = form.data.get(f"base-{form.add_prefix('outcome')}", "")
    ticked = form.add_prefix("outcome") in form.data
    if not base or ticked == (base != JobTask.Outcome.DEFERRED):
        return
    value = JobTask.Outcome.PROPOSED if ticked else JobTask.Outcome.DEFERRED
    keep(
        form, "outcome", drafts.keep_task, card_id=found.card.pk, component_id=form.line.row.component_id,
        task=form.line.row.task, field="outcome", value=value.value, base=base, by=request.user, now=timezone.now(),
    )  # fmt: skip


def _only_offer(found: CardPage, text: str) -> str:
    """What a search means when only one task answers it."""
    matching = offers(found, text) if text.strip() else []
    exact = [pick for pick, words in matching if words == text.strip()]
    return exact[0] if exact else matching[0][0] if len(matching) == 1 else ""


def _change(
    request: HttpRequest, found: CardPage, refused: forms.Form, action: Any, pick: str, **values: Any
) -> HttpResponse | None:
    component, _, task = pick.partition(":")
    if not (component.isascii() and component.isdigit()):
        refused.add_error(None, "Choose a task from the list.")
        return None
    values |= {"component_id": int(component), "task": task[:40]}
    done = carry_out(refused, action, card_id=found.card.pk, by=request.user, now=timezone.now(), **values)
    return redirect(f"{address_of(found, 'tasks')}?added=1#add") if done is not None else None
