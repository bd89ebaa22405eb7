"""The job card on paper, for dirty hands: what to beware of, what to do, what to measure and against which limit."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby
from typing import Any

from services.due_words import say_date
from services.limits import limit_words
from services.units import say_distance
from tracker.models import JobCard, JobTask, Swap
from tracker.papers.squares import square
from tracker.queries.cards import CardPage, MeasureLine, TaskLine, card_page
from tracker.queries.life import distances_now
from tracker.queries.papers import letterhead, say_day, say_value

SHORT_COMPLAINT = 600  # characters that stand at the head of the card; what is longer goes on at its end
# What is noted beside a value: the words before and after the line to write it on.
BESIDE_WORDS = {
    "pitches": ("over", "pitches"), "temperature_c": ("at", "°C"), "set_kpa": ("set", "bar"),
    "new_height_mm": ("new", "mm"),
}  # fmt: skip


def card_paper(card_id: int, now: datetime, *, with_owner: bool = True) -> dict[str, Any] | None:
    """Return what the card for the bench prints, or None where there is no such card. Of the owner: name and phone only."""
    found = card_page(card_id)
    if found is None:
        return None
    card, trike = found.card, found.card.trike
    head, rest = _cut(card.complaint)
    return letterhead(f"Job card {card}, trike {trike}", now, f"Job card {card}") | {
        "number": card.number,
        "square": square(card.number),
        "state": card.get_state_display(),
        "opened": say_day(card.opened_at),
        "trike": {"serial": trike.frame_serial, "plate": trike.plate or "", "model": trike.model},
        "stolen": f"Reported stolen on {say_date(trike.stolen_on)}." if trike.stolen_on else "",
        "owner": {"name": found.owner.name, "phone": found.owner.phone} if with_owner and found.owner else None,
        "odometer": _odometer(card),
        "expected": _expected(trike.pk, now) if card.state == JobCard.State.DRAFT else "",
        "complaint": head,
        "complaint_rest": rest,
        "parts": _parts(found),
        "swaps": [_swap(row) for row in found.swaps],
        "cause": card.cause,
        "correction": card.correction,
        "minutes": card.minutes,
        "amended": [[say_day(entry.recorded_at), entry.body["text"]] for entry in found.amendments],
        "signed": f"Signed by {card.signed_by}, {say_day(card.signed_at)}" if card.signed_at else "",
    }


def _cut(complaint: str) -> tuple[str, str]:
    """The complaint as it stands at the head, and what of a long one goes to the end; parted at a blank where there is one."""
    if len(complaint) <= SHORT_COMPLAINT:
        return complaint, ""
    at = max(complaint.rfind(blank, 0, SHORT_COMPLAINT) for blank in " \n")
    at = at if at > SHORT_COMPLAINT // 2 else SHORT_COMPLAINT
    return complaint[:at].rstrip(), complaint[at:].lstrip()


def _odometer(card: JobCard) -> str:
    if card.reading is None:
        return ""
    unit = "miles" if card.reading.unit == "mi" else "km"
    return f"{card.reading.value.normalize():f} {unit}, {say_day(card.reading.read_at)}"


def _expected(trike_id: int, now: datetime) -> str:
    """What the odometer should show today, to hold against what is read; a finished card asks for no reading."""
    here = distances_now([trike_id], now)[trike_id]
    return f"{'about ' if here.is_estimate else ''}{say_distance(here.display_km)}"


def _parts(found: CardPage) -> list[dict[str, Any]]:
    """Tasks in the order of the trike, those on one part together."""
    told = []
    for _, group in groupby(found.tasks, key=lambda line: line.row.component_id):
        lines = list(group)
        part = lines[0].row.component
        told.append(
            {
                "position": lines[0].position or "no longer on this trike",
                "serial": str(part),
                "name": part.part_type.name,
                "tasks": list(_tasks(lines)),
            }
        )
    return told


def _tasks(lines: Sequence[TaskLine]) -> Iterator[dict[str, Any]]:
    """Yield the tasks of one part, each with its cautions; what was said on this part already is not said again."""
    said: set[str] = set()
    for line in lines:
        yield {
            "cautions": [text for text in line.cautions if text not in said],
            "title": line.task.title,
            "safety": line.task.safety,
            "minutes": line.task.minutes,
            "covers": ", ".join(line.covers),
            "done": line.row.outcome == JobTask.Outcome.DONE,
            "deferred": line.row.outcome == JobTask.Outcome.DEFERRED,
            "note": line.row.note,
            "measures": [_measure(measure) for measure in line.measures],
        }
        said |= set(line.cautions)


def _measure(line: MeasureLine) -> dict[str, Any]:
    known = line.quantity
    return {
        "title": known.title,
        "unit": "bar" if known.unit == "kPa" else known.unit,
        "instrument": known.instrument,
        "limit": _limit(line),
        "beside": [BESIDE_WORDS[name] for name in known.beside if name not in line.known],
        "last": f"{say_value(line.before.value, known.unit)} on {say_day(line.before.taken_at)}" if line.before else "",
        "taken": line.taken.words if line.taken else "",
    }


def _limit(line: MeasureLine) -> str:
    told = limit_words(line.quantity.code, line.component.part_type.rated, line.known)
    return f"allowed: {told}" if line.quantity.within else told


def _swap(row: Swap) -> str:
    out = f"{row.old_component} out" if row.old_component else "was empty"
    into = f"{row.new_component} in" if row.new_component else "stays empty"
    why = f" ({row.reason})" if row.reason else ""
    return f"{row.get_position_display().capitalize()}: {out}, {into}{why}"
