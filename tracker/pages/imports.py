"""Spreadsheets: upload, look at every row's verdict, confirm. A worker does the work; these pages watch it."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from tracker.actions import import_files
from tracker.actions import imports as import_actions
from tracker.models import ImportBatch, ImportRow
from tracker.pages import fields
from tracker.pages.answers import carry_out, press, status_for
from tracker.pages.paging import asked, paged
from tracker.pages.roles import WRITERS, page
from tracker.queries import lists
from tracker.queries.imports import can_try_again

WORKING = {"uploaded", "checking", "confirmed", "applying"}
GUESSES = (
    ("catalogue", ("catalog", "part_types", "part-types", "types")),
    ("deliveries", ("deliver", "trikes", "handover")),
    ("service_book", ("service", "job", "book")),
    ("odometer", ("odometer", "reading", "mileage", "km")),
    ("parts", ("part", "component", "serial", "stock")),
)


class UploadForm(fields.Form):
    """One file and what it holds."""

    file = forms.FileField(label="File", help_text="CSV or XLSX, at most 5 MB.", allow_empty_file=True)
    kind = fields.choice("It holds", [("", "guess from the file name"), *ImportBatch.Kind.choices], required=False)

    def clean(self) -> dict[str, Any]:
        """Guess the kind from the file's name where none was chosen; refuse what is too large."""
        cleaned = super().clean()
        file = cleaned.get("file")
        if file is None:
            return cleaned
        if file.size > settings.UPLOAD_MAX_BYTES:
            self.add_error("file", "The file is larger than 5 MB. Split it and upload the parts one by one.")
        cleaned["kind"] = cleaned.get("kind") or guessed_kind(file.name)
        if not cleaned["kind"]:
            self.add_error("kind", "The file name does not say what it holds. Choose from the list.")
        return cleaned


def guessed_kind(file_name: str) -> str:
    """Return the kind of import a file's name speaks of, or ''."""
    name = file_name.lower()
    return next((kind for kind, marks in GUESSES if any(mark in name for mark in marks)), "")


@page(see=WRITERS)
def imports(request: HttpRequest) -> HttpResponse:
    """Upload a file; see the earlier ones."""
    form = UploadForm(fields.sent(request), request.FILES if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        batch = carry_out(
            form, import_actions.upload, kind=form.cleaned_data["kind"], file_name=file.name, content=file.read(),
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if batch is not None:
            return redirect("import", batch.pk)
    return render(
        request, "desk/imports.html", {"form": form, "page": paged(request, lists.imports())}, status=status_for(form)
    )


@page(see=WRITERS)
def batch(request: HttpRequest, batch_id: int) -> HttpResponse:
    """One file: where it is, and every row with its verdict."""
    row = get_object_or_404(lists.imports(), pk=batch_id)
    verdict = asked(request, "verdict", set(ImportRow.Verdict.values))
    rows = row.rows.all()
    counts = {
        "good": row.rows_good, "questioned": row.rows_questioned, "skipped": row.rows_skipped, "bad": row.rows_bad,
    }  # fmt: skip
    context = {
        "batch": row,
        "working": row.state in WORKING,
        "tabs": [("", "All", row.rows_total), *((code, words, counts[code]) for code, words in TAB_WORDS)],
        "verdict": verdict,
        "page": paged(request, rows.filter(verdict=verdict) if verdict else rows),
        "can_try_again": can_try_again(row),
        "writes": row.rows_good + row.rows_questioned,
    }
    return render(request, "desk/import.html", context)


TAB_WORDS = (("good", "Good"), ("questioned", "Suspect"), ("skipped", "Already there"), ("bad", "Bad"))


@page(see=WRITERS)
@require_POST
def confirm(request: HttpRequest, batch_id: int) -> HttpResponse:
    """Let the worker write the checked file."""
    return _step(request, import_actions.confirm, batch_id)


@page(see=WRITERS)
@require_POST
def try_again(request: HttpRequest, batch_id: int) -> HttpResponse:
    """Let the worker check a failed file anew."""
    return _step(request, import_files.try_again, batch_id)


def _step(request: HttpRequest, act: Callable[..., ImportBatch], batch_id: int) -> HttpResponse:
    get_object_or_404(ImportBatch.objects.only("pk"), pk=batch_id)
    press(request, act, batch_id=batch_id, by=request.user, now=timezone.now())
    return redirect("import", batch_id)
