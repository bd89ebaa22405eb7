"""The due list."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.queries import lists
from tracker.queries.clock import local_date
from tracker.queries.due import title_of
from tracker.queries.fleet import told

WINDOW_WORDS = (("overdue", "Overdue"), ("week", "This week"), ("month", "Next 30 days"), ("all", "All"))


@page()
def due_list(request: HttpRequest) -> HttpResponse:
    """What is due, soonest first, with the reason in words."""
    today = local_date(timezone.now())
    tasks = sorted(((code, title_of(code)) for code in lists.due_tasks()), key=lambda pair: pair[1])
    window = asked(request, "window", set(lists.WINDOWS)) or "all"
    chosen = {
        "task": asked(request, "task", {code for code, _ in tasks}),
        "safety": asked(request, "safety", {"yes"}),
        "text": asked(request, "q"),
    }
    lines = lists.due_lines(task=chosen["task"], safety=bool(chosen["safety"]), text=chosen["text"])
    counts = lists.window_counts(lines, today)
    shown = paged(request, lists.in_window(lines, window, today))
    context = {
        "tabs": [(code, words, counts[code]) for code, words in WINDOW_WORDS], "window": window, "tasks": tasks,
        "chosen": chosen, "page": shown, "rows": told(list(shown), today), "today": today,
    }  # fmt: skip
    return render(request, "desk/due.html", context)
