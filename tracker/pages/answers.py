"""From a form to one action and back: what was refused stands beside the field, what was typed stays."""

from collections.abc import Callable
from typing import Any

import structlog
from django import forms
from django.contrib import messages
from django.db import IntegrityError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from services.errors import Refusal
from tracker.models import Trike

STATUS = {"invalid": 422, "conflict": 409, "forbidden": 403, "missing": 404}
log = structlog.get_logger(__name__)

CLASH = (
    "Somebody else was faster, or this clashes with the record. Nothing was saved: look again, then send it once more."
)
BUSY = "The database did not answer in time. Nothing was saved: send the form again."


def carry_out(form: forms.Form, action: Callable[..., Any], **arguments: Any) -> Any:
    """Call `action` once; return what it returns, or None with the refusal written onto `form`."""
    try:
        return action(**arguments)
    except Refusal as refusal:
        refuse(form, refusal)
    except IntegrityError:
        log.exception("refused by the database", action=action.__name__)
        form.add_error(None, CLASH)
        form.answer_status = 409
    except (OperationalError, InterfaceError):
        log.exception("database away", action=action.__name__)
        form.add_error(None, BUSY)
        form.answer_status = 503
    return None


def press(request: HttpRequest, action: Callable[..., Any], about: str = "", **arguments: Any) -> Any:
    """Carry out what a button without fields asks for; return what the action returns, or None: the next page says why.

    about: what was refused, said before why.
    """
    form = forms.Form({})
    form.is_valid()
    done = carry_out(form, action, **arguments)
    if done is None:
        why = " ".join(form.non_field_errors())
        messages.warning(request, f"{about}: {why}" if about else why, extra_tags="stop")
    return done


def refuse(form: forms.Form, refusal: Refusal) -> None:
    """Write a refusal beside the field it names, with its remedy; beside the form when it names none."""
    form.refusal = refusal
    form.answer_status = status_of(refusal)
    problems = getattr(refusal, "problems", None)
    if problems:
        for problem in problems:
            form.add_error(_field_in(form, problem.name), problem.message)
        return
    form.add_error(_field_in(form, refusal.field), sentence(refusal))


def _field_in(form: forms.Form, name: str | None) -> str | None:
    """The form's name of a refused field: `owner` may be `owner_id` on the form and the reverse."""
    if not name:
        return None
    for candidate in (name, f"{name}_id", name.removesuffix("_id"), getattr(form, "also", {}).get(name, "")):
        if candidate in form.fields:
            return candidate
    return None


def sentence(refusal: Refusal) -> str:
    """Return what is wrong and what to do about it, as one text."""
    return f"{refusal.message} {refusal.remedy}".strip()


def status_of(refusal: Refusal) -> int:
    """Return the HTTP status of a refusal."""
    return STATUS.get(getattr(refusal, "status", "invalid"), 422)


def status_for(form: forms.Form | None) -> int:
    """Return the HTTP status of a page that shows `form`: 200 untouched, 422 or the refusal's own otherwise."""
    if form is None or not form.is_bound or not form.errors:
        return 200
    return getattr(form, "answer_status", 422)


def show_conflict(form: forms.Form, row: Any, names: list[str]) -> None:
    """After StaleVersion: put what stands now beside what was typed; the next sending writes it over knowingly."""
    row.refresh_from_db()
    stands = {name: getattr(row, name) for name in names}
    form.conflict = [
        (form.fields[name].label, stands[name], form.cleaned_data.get(name))
        for name in names
        if name in form.fields and stands[name] != form.cleaned_data.get(name)
    ]
    form.data = form.data.copy()
    form.data["version"] = str(row.version)


def is_stale(form: forms.Form) -> bool:
    """Whether the form was refused because somebody else was faster."""
    return getattr(getattr(form, "refusal", None), "code", "") == "stale-version"


def form_page(
    request: HttpRequest, form: forms.Form, *, title: str, send: str, back: str, of: str, lead: str = "",
    trike: Trike | None = None,
) -> HttpResponse:  # fmt: skip
    """Draw a page with one form; `of` names what it belongs to and leads back there. trike: what the page is about."""
    context = {"form": form, "title": title, "send": send, "back": back, "of": of, "lead": lead, "trike": trike}
    return render(request, "desk/form.html", context, status=status_for(form))
