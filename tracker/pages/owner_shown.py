"""The owner's page as it is drawn: what is due, what can be done about it, and what was just done or refused."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from services.kinds import comes_with
from services.language import marked, say, say_many
from tracker.models import OwnerLink
from tracker.pages.owner_door import COOKIE, COPY, FORGET, form_key
from tracker.queries.appointments import standing
from tracker.queries.bulletin_notices import notices_on
from tracker.queries.feeds import has_feed
from tracker.queries.owner_copy import copy_until
from tracker.queries.reminders import OwnerView, Told, owner_view
from tracker.queries.rides import rides_told

SAID = marked({
    "reading": "Thank you. Your reading is noted.",
    "ride": "Thank you. Your ride is counted.",
    "doubtful": "Thank you. Your reading looks unusual: the workshop will look at it.",
    "stopped": "You get no more service reminders from us.",
    "resumed": "You get service reminders again.",
    "asked": "Thank you. We look at the bench and answer you by mail and on this page.",
    "withdrawn": "Your day is taken back. Choose another whenever you like.",
    "later": "We wait with the next reminder as you asked.",
    "usual": "We write as usual again.",
    "ticked": "Well done. It is in your trike's logbook.",
    "feed-ended": "The calendar address works no longer.",
    "quiet": "Your quiet hours are kept.",
    "units": "Your units are kept.",
    "language": "We write to you in this language.",
    "read": "Thank you. We know now that you have read it.",
    "erase": "Thank you. The workshop has your wish and answers you within a month.",
    "handed": "Thank you. The workshop has your message and will call you.",
})  # fmt: skip
URGENCY = ("overdue", "due", "soon", "ok")


def show(request: HttpRequest, link: OwnerLink, *, status: int = 200, said: str = "", **more: Any) -> HttpResponse:
    """Draw the page, and say whether a phone may keep a copy. trouble: which form was refused, and the refusal."""
    now = timezone.now()
    copied_until = copy_until(link, now)
    view = owner_view(link.trike, link.owner, now)
    at, refusal = more.pop("trouble", ("", None))
    bench = standing(link.trike_id, view.visit, view.today)
    notices = notices_on(link.trike_id, view.today, link.owner_id)
    context = {
        "hazards": [told for told in notices if told.bulletin.is_hazard],
        "notices": [told for told in notices if not told.bulletin.is_hazard],
        "copied": copied_until is not None, "seen": now.astimezone(ZoneInfo(link.owner.time_zone)).replace(tzinfo=None),
        "view": view, "key": form_key(request.COOKIES[COOKIE]), "rides": rides_told(link.trike_id),
        "said": say(SAID.get(said, "")), "urgency": urgency(view), "at": at, "refusal": refusal,
        "bench": bench, "jobs": jobs_of(view.work), "has_feed": has_feed(link, now),
        "late_safety": next((told.title for told in view.work if told.safety and told.status == "overdue"), ""),
        "bench_time": minutes_words(view.visit.minutes) if view.visit else "",
        "wanted_other": more.get("wanted", "") in {day.isoformat() for day in bench.others},
        "writes": view.owner.reminders_agreed and view.owner.stopped_at is None,
    }  # fmt: skip
    response = render(request, "owner/page.html", context | more, status=status)
    response[COPY] = f"keep; until={int(copied_until.timestamp())}" if copied_until else FORGET
    return response


@dataclass(frozen=True)
class Job:
    """One job of the visit: the task, and the smaller ones that are done with it."""

    told: Told
    along: tuple[Told, ...] = ()


def jobs_of(work: Sequence[Told]) -> list[Job]:
    """Return the jobs of a visit in their order; what comes with a larger one stands under it, as on the job card."""
    inside = comes_with(told.code for told in work)
    along: dict[str, list[Told]] = defaultdict(list)
    for told in work:
        if told.code in inside:
            along[_largest(told.code, inside)].append(told)
    return [Job(told, tuple(along.pop(told.code, ()))) for told in work if told.code not in inside]


def _largest(code: str, inside: Mapping[str, str]) -> str:
    while code in inside:
        code = inside[code]
    return code


def urgency(view: OwnerView) -> str:
    """How urgent the most urgent work for the workshop is; an empty text where there is none."""
    told = {task.status for task in view.work}
    return next((word for word in URGENCY if word in told), "")


def minutes_words(minutes: int) -> str:
    """Return a time at the bench as people say it, to five minutes: '45 minutes', '2 hours 15 minutes'."""
    hours, rest = divmod(max(5, 5 * round(minutes / 5)), 60)
    told = [say_many("{number} hour", "{number} hours", hours)] if hours else []
    return " ".join([*told, *([say_many("{number} minute", "{number} minutes", rest)] if rest else [])])
