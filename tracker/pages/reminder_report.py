"""What reminders bring: one page for the shop."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from tracker.pages.roles import page
from tracker.queries.reminder_report import reminder_report


@page()
def report(request: HttpRequest) -> HttpResponse:
    """The last twelve months."""
    return render(request, "desk/reminder_report.html", {"found": reminder_report(timezone.now())})
