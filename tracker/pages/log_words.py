"""The logbook in words: one sentence per entry, made from what is sealed in it."""

from collections.abc import Callable
from datetime import date
from typing import Any

from services.bulletin_words import STATE_WORDS
from services.due_words import say_date
from services.failures import CAUSES, MODES
from services.kinds import all_tasks, quantity
from services.kinds.from_bulletin import task_of
from services.positions import POSITIONS
from services.units import say_distance
from tracker.models import Component, LogEntry, Occurrence

KIND_WORDS = {
    "fitted": "Fitted",
    "removed": "Taken off",
    "component_changed": "Component changed",
    "trike_changed": "Trike changed",
    "reading": "Reading",
    "reading_decided": "Reading decided",
    "ride": "Ride",
    "display_change": "Display change",
    "meter": "Meter",
    "occurrence": "Happened",
    "handover_built": "Builder signed",
    "delivered": "Delivered",
    "job_card_signed": "Job card signed",
    "task_done": "Done",
    "measured": "Measured",
    "failure": "Failure",
    "amendment": "Amendment",
    "service_book": "Service book",
    "owner_changed": "Owner changed",
    "owner_erased": "Owner erased",
    "stolen": "Stolen",
    "found_again": "Found again",
    "retired": "Retired",
    "opened_again": "Record opened again",
    "bulletin": "Bulletin",
}
VERDICTS = {"accepted": "accepted", "suspect": "in doubt", "rejected": "rejected"}
CHOICES = {
    "accept": "right as typed",
    "reject": "rejected",
    "display_reset": "the display was reset",
    "km_as_miles": "it was kilometres",
    "miles_as_km": "it was miles",
}


def told(entry: LogEntry) -> dict[str, Any]:
    """Return an entry as pages show it: what kind, in words, by whom, when."""
    say = SAID.get(entry.kind)
    try:
        words = say(entry.body) if say else _anything(entry.body)
    except (KeyError, TypeError, ValueError):
        words = _anything(entry.body)
    return {
        "entry": entry,
        "kind": KIND_WORDS.get(entry.kind, entry.kind.replace("_", " ").capitalize()),
        "words": words,
    }


def _place(code: str) -> str:
    return POSITIONS[code].title if code in POSITIONS else code


def _fate(code: str) -> str:
    return dict(Component.State.choices).get(code, code)


def _task(code: str) -> str:
    return next((task.title for task in all_tasks() if task.code == code), _bulletin_task(code))


def _on_card(body: dict[str, Any]) -> str:
    return f" ({body['card']})" if body.get("card") else ""


def _fitted(body: dict[str, Any]) -> str:
    return f"{body['serial']} at {_place(body['position'])}{_on_card(body)}"


def _removed(body: dict[str, Any]) -> str:
    reason = f": {body['reason']}" if body.get("reason") else ""
    return f"{body['serial']} from {_place(body['position'])}, then {_fate(body['fate'])}{reason}{_on_card(body)}"


def _trike(body: dict[str, Any]) -> str:
    told_names = {"severity": "how hard it is used"}
    return ", ".join(
        f"{told_names.get(name, name)} {_or_none(body['before'][name])} → {_or_none(after)}"
        for name, after in body["after"].items()
    )


def _or_none(value: Any) -> str:
    return "none" if value in (None, "") else f"{value:g}" if isinstance(value, float) else str(value)


def _reading(body: dict[str, Any]) -> str:
    said = f"{float(body['value']):,g} {body['unit']}, {VERDICTS.get(body['verdict'], body['verdict'])}"
    return f"{said}; asked, and {_choice(body)}: {say_distance(body['km'])}" if body.get("choice") else said


def _choice(body: dict[str, Any]) -> str:
    return CHOICES.get(body["choice"], body["choice"].replace("_", " "))


def _decided(body: dict[str, Any]) -> str:
    return f"{_choice(body)}: {VERDICTS.get(body['verdict'], body['verdict'])}, {say_distance(body['km'])}"


def _display(body: dict[str, Any]) -> str:
    old = (
        "last value unknown, estimated"
        if body["old_final_km"] is None
        else f"last value {say_distance(body['old_final_km'])}"
    )
    reason = f" ({body['reason']})" if body.get("reason") else ""
    return f"{old}; the new one began at {say_distance(body['new_start_km'])}{reason}"


def _measured(body: dict[str, Any]) -> str:
    known = quantity(body["quantity"])
    return f"{known.title} {body['value']:g} {known.unit}, {body['level']}{_on_card(body)}"


def _failure(body: dict[str, Any]) -> str:
    cause = f", cause: {CAUSES.get(body['cause'], body['cause'])}" if body.get("cause") else ""
    return f"{MODES.get(body['mode'], body['mode'])}{cause}{_on_card(body)}"


def _task_done(body: dict[str, Any]) -> str:
    via = f", as part of {_task(body['via'])}" if body.get("via") else ""
    return f"{_task(body['task'])}{via}{_on_card(body)}"


def _signed(body: dict[str, Any]) -> str:
    told_what = body.get("correction") or "no correction written"
    later = f" Deferred: {', '.join(_task(code) for code in body['deferred'])}." if body.get("deferred") else ""
    beside = _released(body) + _photos(body)
    return f"{body['card']}, odometer {say_distance(body['odometer_km'])}: {told_what}{later}{beside}"


def _released(body: dict[str, Any]) -> str:
    release = body.get("release")
    return f" Released after {len(release['checks'])} checks." if release else ""


def _photos(body: dict[str, Any]) -> str:
    count = len(body.get("photos", ()))
    return f" {count} photo{'' if count == 1 else 's'}." if count else ""


def _built(body: dict[str, Any]) -> str:
    failed = [item for item, passed in body["checks"] if not passed]
    return (
        f"final check of {len(body['checks'])} items, "
        + (f"failed: {', '.join(failed)}" if failed else "all passed")
        + (f"; without {', '.join(body['missing'])}" if body.get("missing") else "")
        + (f"; with open bulletins {', '.join(body['bulletins'])}" if body.get("bulletins") else "")
    )


def _bulletin_task(code: str) -> str:
    """Return the title of a bulletin's work; any other code as it is."""
    found = task_of(code)
    return found.title if found else code


def _bulletin(body: dict[str, Any]) -> str:
    before, after = (STATE_WORDS.get(body[name], "") for name in ("before", "after"))
    if not before:
        return f"{body['bulletin']}: the part came under it" + ("" if body["after"] == "affected" else f", {after}")
    return f"{body['bulletin']}: {before} → {after or 'no longer under it'}{_on_card(body)}"


def _day(written: str) -> str:
    return say_date(date.fromisoformat(written))


def _noted(body: dict[str, Any]) -> str:
    return f": {body['note']}" if body.get("note") else ""


def _anything(body: dict[str, Any]) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {value}" for name, value in body.items() if value not in (None, "", [], {})
    )


SAID: dict[str, Callable[[dict[str, Any]], str]] = {
    "fitted": _fitted,
    "removed": _removed,
    "trike_changed": _trike,
    "reading": _reading,
    "reading_decided": _decided,
    "ride": lambda body: (
        f"{say_distance(body['km'])} from a file; the odometer should show about {say_distance(body['shows'])}"
    ),
    "display_change": _display,
    "occurrence": lambda body: dict(Occurrence.Kind.choices).get(body["kind"], body["kind"]),
    "handover_built": _built,
    "job_card_signed": _signed,
    "task_done": _task_done,
    "measured": _measured,
    "failure": _failure,
    "owner_changed": lambda body: f"another owner since {_day(body['since'])}; links sent before are dead",
    "owner_erased": lambda body: (
        f"the owner's data was erased; nobody owns the trike on record since {_day(body['until'])}"
    ),
    "stolen": lambda body: f"gone since {_day(body['on'])}{_noted(body)}",
    "found_again": lambda body: f"on {_day(body['on'])}, gone since {_day(body['stolen_on'])}{_noted(body)}",
    "retired": lambda body: f"{body['reason']}; {body['parts']} parts left it",
    "opened_again": lambda body: "its kept frame was registered again",
    "bulletin": _bulletin,
    "amendment": lambda body: f"{body['card']}: {body['text']}",
}
