"""What an owner asks for, does and sets on their page. Each form calls one action and comes back to the page."""

import io
import zipfile
from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from services.calendar_words import WEEKDAYS
from services.errors import Refusal
from services.language import LANGUAGES, known, say
from tracker.actions.appointments import ask_for_day, withdraw
from tracker.actions.erasing import ask_erasure
from tracker.actions.hand_on import MOST_WORDS, ask_to_hand_on
from tracker.actions.owner_wishes import set_language, set_quiet, set_units, snooze_visit, tick_own_task
from tracker.actions.refusals import FieldInvalid
from tracker.models import Owner, OwnerLink, ReadingPhoto
from tracker.pages.answers import status_of
from tracker.pages.owner_door import COOKIE, back, form_key, with_link
from tracker.pages.owner_shown import show
from tracker.queries.owner_export import owner_data, picture_name, pictures_of
from tracker.queries.photos import photo_file

CHOSEN = ("distance_unit", "pressure_unit", "time_zone")
# Where people ride; whoever lives elsewhere keeps the zone they have.
ZONES = (
    "Europe/London", "Europe/Dublin", "Europe/Lisbon", "Europe/Amsterdam", "Europe/Berlin", "Europe/Brussels",
    "Europe/Copenhagen", "Europe/Madrid", "Europe/Oslo", "Europe/Paris", "Europe/Prague", "Europe/Rome",
    "Europe/Stockholm", "Europe/Vienna", "Europe/Warsaw", "Europe/Zurich", "Europe/Athens", "Europe/Helsinki",
    "America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles", "America/Toronto",
    "America/Sao_Paulo", "Africa/Johannesburg", "Asia/Kolkata", "Asia/Singapore", "Asia/Tokyo", "Australia/Perth",
    "Australia/Adelaide", "Australia/Sydney", "Pacific/Auckland",
)  # fmt: skip


def _try(
    request: HttpRequest, link: OwnerLink, at: str, said: str, call: Callable[[], Any], **typed: Any
) -> HttpResponse:
    """Carry out what the form at `at` asks and go back to the page; refused, show it there with what was typed."""
    try:
        call()
    except Refusal as refusal:
        return show(request, link, status=status_of(refusal), trouble=(at, refusal), **typed)
    return back(said)


@with_link
@require_POST
def day(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Ask for a day at the bench, or take it back."""
    now = timezone.now()
    if request.POST.get("wish") == "withdraw":
        return _try(request, link, "day", "withdrawn", lambda: withdraw(link=link, now=now))
    typed, note = request.POST.get("on", "")[:10], request.POST.get("note", "")[:400]
    return _try(
        request, link, "day", "asked", lambda: ask_for_day(link=link, on=_day(typed), note=note, now=now),
        note=note, wanted=typed,
    )  # fmt: skip


def _day(typed: str) -> date:
    try:
        return date.fromisoformat(typed)
    except ValueError:
        raise FieldInvalid(
            say("Please choose a day."), field="on", remedy=say("Touch one of the days below.")
        ) from None


@with_link
@require_POST
def later(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Wait with the next reminder for some weeks; 0: write as usual."""
    weeks = _whole(request.POST.get("weeks", ""))
    said = "later" if weeks else "usual"
    return _try(request, link, "later", said, lambda: snooze_visit(link=link, weeks=weeks, now=timezone.now()))


@with_link
@require_POST
def done(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Tick a task of the owner's own."""
    task, parts = request.POST.get("task", "")[:40], [_whole(text) for text in request.POST.getlist("part")[:40]]
    return _try(
        request, link, "own", "ticked",
        lambda: tick_own_task(link=link, task=task, component_ids=parts, now=timezone.now()),
    )  # fmt: skip


def _whole(text: str) -> int:
    """A small whole number, -1 for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 18 else -1


# Settings


@with_link
@require_http_methods(["GET", "HEAD", "POST"])
def settings_page(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Quiet hours and days, units, time zone, language; every form of the page leads here."""
    if request.method != "POST":
        return _settings(request, link)
    which = sent if (sent := request.POST.get("form", "")) in SAVERS else "quiet"
    try:
        SAVERS[which](request, link)
    except Refusal as refusal:
        return _settings(request, link, status=status_of(refusal), at=which, refusal=refusal)
    return back(which)


def _save_quiet(request: HttpRequest, link: OwnerLink) -> None:
    hours = [_whole(text) if (text := request.POST.get(name, "")) else None for name in ("from_hour", "until_hour")]
    if hours != [None, None]:  # one of them changed: the other stays as it is shown
        hours = [usual if hour is None else hour for hour, usual in zip(hours, _usual(), strict=True)]
    days = [_whole(text) for text in request.POST.getlist("weekday")[:14]]
    set_quiet(link=link, from_hour=hours[0], until_hour=hours[1], weekdays=days, now=timezone.now())


def _usual() -> tuple[int, int]:
    return settings.QUIET_FROM_HOUR, settings.QUIET_UNTIL_HOUR


def _save_units(request: HttpRequest, link: OwnerLink) -> None:
    set_units(link=link, now=timezone.now(), **{name: request.POST.get(name, "")[:64] for name in CHOSEN})


def _save_language(request: HttpRequest, link: OwnerLink) -> None:
    set_language(link=link, language=request.POST.get("language", "")[:5], now=timezone.now())


SAVERS = {"quiet": _save_quiet, "units": _save_units, "language": _save_language}


def _settings(request: HttpRequest, link: OwnerLink, *, status: int = 200, **more: Any) -> HttpResponse:
    owner = link.owner
    typed = request.POST if more.get("at") else {}
    context = {
        "key": form_key(request.COOKIES[COOKIE]), "owner": owner, "days": list(enumerate(map(say, WEEKDAYS))),
        "hours": range(24), "usual": _usual(), "zones": sorted({*ZONES, owner.time_zone}),
        "quiet_days": [_whole(text) for text in typed.getlist("weekday")] if more.get("at") == "quiet" else owner.quiet_weekdays,
        "chosen": {name: typed.get(name, getattr(owner, name)) for name in CHOSEN} | {"language": known(owner.language)},
        "languages": LANGUAGES.items(),
        "from_hour": _chosen_hour(typed, owner, "from"), "until_hour": _chosen_hour(typed, owner, "until"),
        "pressures": Owner._meta.get_field("pressure_unit").choices,
    }  # fmt: skip
    return render(request, "owner/settings.html", context | more, status=status)


def _chosen_hour(typed: Any, owner: Owner, which: str) -> int | None:
    kept = getattr(owner, f"quiet_{which}_hour")
    sent = typed.get(f"{which}_hour")
    return kept if sent is None else _whole(sent) if sent else None


# Data and handing on


@with_link
@require_GET
def my_data(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Everything we keep about the owner and this trike, as a file; in an archive with the pictures where they sent some."""
    answer = JsonResponse(owner_data(link, timezone.now()), json_dumps_params={"indent": 2, "ensure_ascii": False})
    name, pictures = "my-trike-data.json", pictures_of(link)
    if pictures:
        answer = HttpResponse(_archive(name, answer.content, pictures), content_type="application/zip")
        name = "my-trike-data.zip"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _archive(name: str, data: bytes, pictures: Iterable[ReadingPhoto]) -> bytes:
    """The data and the pictures in one ZIP; a picture whose file is gone is left out."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, data)
        for row in pictures:
            path = photo_file(row)
            if path is not None:
                archive.write(path, picture_name(row), zipfile.ZIP_STORED)
    return out.getvalue()


@with_link
@require_http_methods(["GET", "HEAD", "POST"])
def hand_on(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Tell the workshop that somebody else gets the trike."""
    typed, refusal = request.POST.get("words", "")[:MOST_WORDS], None
    if request.method == "POST":
        try:
            ask_to_hand_on(link=link, words=typed, now=timezone.now())
            return back("handed")
        except Refusal as refused:
            refusal = refused
    context = {"key": form_key(request.COOKIES[COOKIE]), "typed": typed, "refusal": refusal, "most": MOST_WORDS}
    return render(request, "owner/hand_on.html", context, status=status_of(refusal) if refusal else 200)


@with_link
@require_http_methods(["GET", "HEAD", "POST"])
def erase(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Ask the workshop to erase what it keeps about the owner."""
    if request.method == "POST":
        return _try(request, link, "erase", "erase", lambda: ask_erasure(owner_id=link.owner_id, now=timezone.now()))
    return render(request, "owner/erase.html", {"key": form_key(request.COOKIES[COOKIE]), "owner": link.owner})


urlpatterns = [
    path("day", day, name="owner-day"),
    path("later", later, name="owner-later"),
    path("done", done, name="owner-done"),
    path("settings", settings_page, name="owner-settings"),
    path("my-data", my_data, name="owner-data"),
    path("hand-on", hand_on, name="owner-hand-on"),
    path("erase", erase, name="owner-erase"),
]
