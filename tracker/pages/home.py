"""Today: what needs somebody."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from tracker.pages.roles import WRITERS, page, roles_of
from tracker.queries.erasing import answer_by
from tracker.queries.home import needs_me_today

SWEEP_LATE = timedelta(hours=36)
SWEEP_RUNS = timedelta(hours=2)  # longer than that, it was left by a crash


@page()
def today(request: HttpRequest) -> HttpResponse:
    """What needs me today."""
    now = timezone.now()
    found = needs_me_today(now)
    sweep = found.last_sweep
    runs = sweep is not None and sweep.finished_at is None and now - sweep.started_at < SWEEP_RUNS
    late = sweep is None or sweep.finished_at is None or now - sweep.finished_at > SWEEP_LATE
    board = [
        ("/due/?window=overdue", found.overdue, "overdue", f"on {found.overdue_trikes} trikes", "stop"),
        ("/due/?window=week", found.due_this_week, "due this week", "", "ask"),
        (
            f"{reverse('bulletins')}?state=released",
            found.safety_parts,
            "safety parts under bulletins",
            f"on {found.safety_trikes} trikes",
            "stop",
        ),
        ("/readings/?verdict=suspect", found.suspects, "readings in doubt", "", "ask"),
        ("/jobs/?state=draft", found.open_cards, "job cards open", "", "plain"),
        ("/appointments/", found.days_asked, "days asked for", "", "ask"),
        ("/messages/?state=failed", found.mails_failed, "mails failed", "", "stop"),
        ("/messages/?state=unknown", found.mails_unknown, "mails: sent or not?", "", "ask"),
        ("/messages/?state=back", found.mails_back, "addresses do not work", "", "stop"),
    ]
    if roles_of(request) & WRITERS:
        board.append(("/imports/", len(found.imports_waiting), "imports waiting", "", "ask"))
    quarantine = "/components/?kind=battery&state=quarantined"
    board.append((quarantine, len(found.quarantined), "batteries in quarantine", "", "stop"))
    context = {
        "found": found,
        "board": board,
        "sweep": sweep,
        "sweep_late": late,
        "sweep_runs": runs,
        "today": found.today,
        "erase": [(owner, answer_by(owner)) for owner in found.erase_asked],
    }
    return render(request, "desk/today.html", context)
