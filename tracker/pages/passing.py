"""A trike passes to another owner, is stolen or found again, is retired: each says in words what it will do."""

from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.positions import POSITIONS
from tracker.actions.passing import pass_on as pass_on_action
from tracker.actions.retirement import FRAME_FATES, PART_FATES, retire_trike
from tracker.actions.theft import found_again, report_stolen
from tracker.models import Component, Fitment, Owner, Ownership, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, status_for
from tracker.pages.paging import asked
from tracker.pages.reading_forms import UNITS, answer_in, expected_words, question_in, typed_as
from tracker.pages.roles import WRITERS, page
from tracker.queries import lists
from tracker.queries.clock import local_date
from tracker.queries.fleet import owner_of
from tracker.queries.life import distances_now, lives_of
from tracker.queries.reminders import may_write_to
from tracker.queries.usage import unit_of

FATE_WORDS = {
    Component.State.IN_STOCK: "back to stock", Component.State.SCRAPPED: "scrapped",
    Component.State.QUARANTINED: "quarantined", Component.State.RETURNED: "returned to the maker",
}  # fmt: skip
FRAME_WORDS = {Component.State.SCRAPPED: "scrapped", Component.State.IN_STOCK: "kept"}


class PassOnForm(fields.Form):
    """Since when, what the display shows, and whether the new owner wants reminders."""

    also = {"value": "reading", "read_at": "since"}
    owner_id = forms.IntegerField(widget=forms.HiddenInput)
    version = fields.version()
    since = fields.day("Theirs since")
    reading = fields.number("The display showed", required=False, help_text="Leave empty if nobody looked.")
    unit = fields.choice("Unit", UNITS)
    agreed = fields.tick("Agrees to service reminders")
    agreed_source = fields.text("Agreed how", 80, help_text="Such as: by telephone, in writing.")

    def clean(self) -> dict[str, Any]:
        """Add the answer to the question about an unlikely reading."""
        cleaned = super().clean() or {}
        self.typed = {"value": cleaned.get("reading"), "unit": cleaned.get("unit")}
        cleaned["answer"] = answer_in(self.data, typed_as(cleaned.get("reading"), cleaned.get("unit")))
        return cleaned

    @property
    def question(self) -> dict[str, Any] | None:
        """What its buttons need while the question about the reading is open."""
        return question_in(getattr(self, "refusal", None), self.typed) if self.is_bound else None


class StolenForm(fields.Form):
    """Since when it is gone, and the report."""

    doing = forms.CharField(widget=forms.HiddenInput, initial="report")
    version = fields.version()
    on = fields.day("Gone since")
    note = fields.text("Report number, place", 200, help_text="No names: this stays in the logbook for good.")


class FoundForm(fields.Form):
    """When it was found."""

    doing = forms.CharField(widget=forms.HiddenInput, initial="find")
    version = fields.version()
    on = fields.day("Found on")
    note = fields.text("Where, in what state", 200, help_text="No names: this stays in the logbook for good.")


class RetireForm(fields.Form):
    """Why, when, and where each part goes; one choice per fitted part."""

    version = fields.version()
    reason = fields.text("Why it is retired", 200, required=True)
    at = fields.moment("Taken apart on")

    def __init__(self, fitted: list[Fitment], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fitted = fitted
        for fitment in fitted:
            words, allowed = (
                (FRAME_WORDS, FRAME_FATES) if fitment.position == "frame" else (FATE_WORDS, PART_FATES)
            )  # fmt: skip
            self.fields[f"fate_{fitment.component_id}"] = fields.choice(
                f"{POSITIONS[fitment.position].title.capitalize()}: {fitment.component}",
                [(fate.value, words[fate]) for fate in allowed],
            )

    def fates(self) -> dict[int, str]:
        """Return component id -> where it goes."""
        return {
            fitment.component_id: self.cleaned_data[f"fate_{fitment.component_id}"] for fitment in self.fitted
        }  # fmt: skip


@page(see=WRITERS)
def pass_on(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Find or add the next owner, then say since when; what will happen stands above the button."""
    trike = get_object_or_404(Trike, pk=trike_id)
    chosen = request.GET.get("owner", "")
    owner = Owner.objects.filter(pk=chosen).first() if chosen.isdigit() and len(chosen) < 19 else None
    text, now, unit = asked(request, "find"), timezone.now(), unit_of(trike.pk)
    initial = {
        "owner_id": owner.pk if owner else None, "since": local_date(now), "unit": unit, "version": trike.version,
        "agreed_source": "",
    }  # fmt: skip
    form = PassOnForm(fields.sent(request), initial=initial)
    form.fields["reading"].help_text += f" {expected_words(distances_now([trike.pk], now)[trike.pk], unit)}"
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, pass_on_action, trike_id=trike.pk, by=request.user, now=now, source="desk", **form.cleaned_data
        )
        if done is not None:
            return _passed(request, trike, done)
        _let_go_on(form, trike)
    context = {
        "trike": trike, "form": form, "owner": owner, "before": owner_of(trike.pk), "find": text,
        "owners": lists.owners(text)[:12] if text else [],
    }  # fmt: skip
    return render(request, "desk/pass_on.html", context, status=status_for(form))


def _passed(request: HttpRequest, trike: Trike, begun: Ownership) -> HttpResponse:
    agreed = (
        "Reminders go to them."
        if may_write_to(begun.owner)
        else "They get no reminders: not agreed, or no mail address."
    )
    messages.success(request, f"The trike is {begun.owner.name}’s now. Older links to it are dead. {agreed}")
    return redirect("trike", trike.pk)


def _let_go_on(form: forms.Form, trike: Trike) -> None:
    """After somebody else changed the trike: what was typed stays, and the next sending counts from what stands now."""
    if is_stale(form):
        trike.refresh_from_db()
        form.data = form.data.copy()
        form.data["version"] = str(trike.version)


@page(see=WRITERS)
def stolen(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Report a trike stolen, or found again."""
    trike = get_object_or_404(Trike, pk=trike_id)
    doing = request.POST.get("doing", "find" if trike.stolen_on else "report")  # what the page sent was about
    kind, act = (FoundForm, found_again) if doing == "find" else (StolenForm, report_stolen)
    form = kind(fields.sent(request), initial={"on": local_date(timezone.now()), "version": trike.version})
    if form.is_bound and form.is_valid():
        told = {name: form.cleaned_data[name] for name in ("version", "on", "note")}
        done = carry_out(form, act, trike_id=trike.pk, by=request.user, now=timezone.now(), source="desk", **told)
        if done is not None:
            _say_so(request, done.stolen_on)
            return redirect("trike", trike.pk)
        _let_go_on(form, trike)
    context = {"trike": trike, "form": form, "finding": doing == "find"}
    return render(request, "desk/stolen.html", context, status=status_for(form))


def _say_so(request: HttpRequest, on: date | None) -> None:
    if on is None:
        messages.success(request, "It is back. Look it over before the next ride: locks, brakes, steering, battery.")
    else:
        messages.warning(request, "Marked as stolen. Reminders are held until it is found.", "ask")


@page(see=WRITERS)
def retire(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Take a trike apart for good: say for every part where it goes."""
    trike = get_object_or_404(Trike, pk=trike_id)
    fitted, lives = _fitted(trike)
    initial = {"at": fields.this_minute(), "version": trike.version}
    initial |= {f"fate_{f.component_id}": "scrapped" if f.position == "frame" else "in_stock" for f in fitted}
    form = RetireForm(fitted, fields.sent(request), initial=initial)
    if form.is_bound and form.is_valid():
        cleaned = form.cleaned_data
        done = carry_out(
            form, retire_trike, trike_id=trike.pk, reason=cleaned["reason"], fates=form.fates(), at=cleaned["at"],
            version=cleaned["version"], by=request.user, now=timezone.now(), source="desk",
        )  # fmt: skip
        if done is not None:
            messages.success(request, f"Trike {trike} is retired. {len(fitted)} parts left it with their life.")
            return redirect("trike", trike.pk)
        _let_go_on(form, trike)
    rows = [(fitment, form[f"fate_{fitment.component_id}"], lives[fitment.component_id]) for fitment in fitted]
    return render(request, "desk/retire.html", {"trike": trike, "form": form, "rows": rows}, status=status_for(form))


def _fitted(trike: Trike) -> tuple[list[Fitment], dict[int, Any]]:
    """What sits on the trike in the order of the positions, and how far each part has run."""
    order = list(POSITIONS)
    rows = list(Fitment.objects.current().filter(trike=trike).select_related("component__part_type"))
    lives = lives_of([row.component_id for row in rows], timezone.now())
    return sorted(rows, key=lambda row: order.index(row.position)), lives
