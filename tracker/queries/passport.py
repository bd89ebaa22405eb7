"""The service passport: a trike's whole history for whoever owns it next, without anything about who owned it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Any

from django.conf import settings

from services.bulletin_words import STATE_WORDS
from services.bulletins import DONE
from services.chain_code import chain_code
from services.discretion import without_people
from services.due_words import say_date
from services.failures import CAUSES, MODES
from services.kinds import quantity
from services.kinds import task as task_of
from services.logbook import first_break
from services.parts import PART_KINDS
from services.units import say_distance, say_pressure
from tracker.models import (
    Bulletin,
    Completion,
    Component,
    DisplayChange,
    Failure,
    Handover,
    JobCard,
    JobTask,
    LogEntry,
    Measurement,
    Occurrence,
    Ownership,
    Trike,
)
from tracker.papers.squares import square
from tracker.queries.bulletins import of_trike
from tracker.queries.life import Distance, clocks_of, distances_now, runs_of
from tracker.queries.logbook import chain_of
from tracker.queries.papers import letterhead, say_day, say_value
from tracker.queries.passport_parts import as_built, swaps
from tracker.queries.trike_log import once_fitted

Plain = Callable[[str], str]  # a text without the people in it


def passport(trike_id: int, now: datetime) -> dict[str, Any] | None:
    """Return what the passport prints, or None where there is no such trike. As many queries however long the history."""
    trike = Trike.objects.filter(pk=trike_id).first()
    if trike is None:
        return None
    clocks = clocks_of([trike_id])
    fitments = once_fitted(trike_id)
    runs = runs_of({row.component_id for row in fitments}, clocks)
    plain = _discretion(trike_id)
    chain = _chain(trike, now)
    at = f" at entry {chain['seq']}" if chain["seq"] else ""
    return letterhead(f"Service passport of trike {trike}", now, f"Trike {trike}{at}") | {
        "trike": _identity(trike),
        "warnings": _warnings(trike),
        "distance": _distance(trike, distances_now([trike_id], now, clocks)[trike_id]),
        "handover": _handover(trike_id),
        "parts": list(as_built(trike, fitments, runs, now)),
        "swaps": [row for _, row in sorted(swaps(trike, fitments, runs, plain), key=lambda pair: pair[0])],
        "services": _services(trike_id, plain),
        "measured": _measured(trike_id),
        "happened": _happened(trike_id),
        "bulletins": _bulletins(trike_id, plain),
        "chain": chain,
    }


def _discretion(trike_id: int) -> Plain:
    """What leaves every owner this trike ever had out of a text."""
    rows = Ownership.objects.filter(trike_id=trike_id).values_list("owner__name", "owner__phone", "owner__phone_e164")
    owners = list(rows)
    names, phones = [name for name, _, _ in owners], [phone for row in owners for phone in row[1:]]
    return lambda text: without_people(text, names, phones)


def _identity(trike: Trike) -> dict[str, str]:
    return {
        "serial": trike.frame_serial, "plate": trike.plate or "", "model": trike.model,
        "delivered": say_date(trike.delivered_on) if trike.delivered_on else "",
        "state": trike.get_state_display(),
    }  # fmt: skip


def _warnings(trike: Trike) -> list[str]:
    told = []
    if trike.stolen_on:
        told.append(
            f"Reported stolen on {say_date(trike.stolen_on)}. Do not buy or sell it: call {settings.WORKSHOP_NAME}."
        )
    if trike.retired_on:
        told.append(f"Taken out of service for good on {say_date(trike.retired_on)}.")
    return told


def _distance(trike: Trike, here: Distance) -> list[list[str]]:
    about = "about " if here.is_estimate else ""
    facts = [["Distance in its life", f"{about}{say_distance(here.km)} ({say_distance(here.km, 'mi')})"]]
    if here.last_read_on and here.last_display_km is not None:
        facts.append(["Odometer last read", f"{say_distance(here.last_display_km)} on {say_date(here.last_read_on)}"])
    for change in DisplayChange.objects.filter(trike=trike):
        last = "unknown" if change.old_final_km is None else say_distance(change.old_final_km)
        began = say_distance(change.new_start_km)
        facts.append(
            [
                f"Display changed {say_day(change.changed_at)}",
                f"The old one showed {last}; the new one began at {began}.",
            ]
        )
    return facts


def _handover(trike_id: int) -> dict[str, Any] | None:
    """Set-up, final check and signatures. What the rider weighs is the rider's own and is left out."""
    row = Handover.objects.filter(trike_id=trike_id).prefetch_related("checks").first()
    if row is None:
        return None
    checks = list(row.checks.all())
    return {
        "on": say_date(row.handed_over_on),
        "odometer": say_distance(row.reading_km),
        "set_up": _set_up(row),
        "checks": [[check.item, "passed" if check.passed else "failed"] for check in checks],
        "signatures": _signatures(row),
    }


def _set_up(row: Handover) -> list[list[str]]:
    pressure = row.shock_pressure_kpa
    told = [
        [
            "Shock pressure",
            f"{say_pressure(pressure)} ({say_pressure(pressure, 'psi')})" if pressure is not None else "",
        ],
        ["Sag", f"{row.sag_mm:g} mm" if row.sag_mm is not None else ""],
        ["Elastomers", row.elastomer_grade],
        ["Toe-in", f"{row.toe_in_mm:g} mm" if row.toe_in_mm is not None else ""],
    ]
    return [fact for fact in told if fact[1]]


def _signatures(row: Handover) -> str:
    built = f"Signed by its builder on {say_day(row.built_signed_at)}"
    if row.second_signed_at is None:
        return f"{built}; the second signature is missing."
    return f"{built} and by a second person, who looked it over, on {say_day(row.second_signed_at)}."


def _services(trike_id: int, plain: Plain) -> list[dict[str, Any]]:
    """Every signed card, oldest first, and work that was entered without one."""
    cards = (
        JobCard.objects.filter(trike_id=trike_id, state=JobCard.State.SIGNED)
        .select_related("reading")
        .prefetch_related("tasks")
        .order_by("worked_at", "pk")
    )
    amended = _amendments(trike_id)
    rows = [(card.worked_at, _service(card, amended.get(card.number, []), plain)) for card in cards]
    return [row for _, row in sorted([*rows, *_without_card(trike_id)], key=lambda pair: pair[0])]


def _service(card: JobCard, amendments: Iterable[LogEntry], plain: Plain) -> dict[str, Any]:
    by_outcome: dict[str, list[str]] = defaultdict(list)
    for row in card.tasks.all():
        by_outcome[row.outcome].append(row.task)
    return {
        "on": say_day(card.worked_at),
        "odometer": say_distance(card.reading.km) if card.reading else "",
        "card": card.number,
        "done": _titles(by_outcome[JobTask.Outcome.DONE]),
        "put_off": _titles(by_outcome[JobTask.Outcome.DEFERRED]),
        "words": plain(card.correction),
        "amended": [f"{say_day(entry.recorded_at)}: {plain(str(entry.body['text']))}" for entry in amendments],
    }


def _titles(codes: Iterable[str]) -> str:
    """Tasks by their titles, each once however many parts it was done on."""
    return ", ".join(dict.fromkeys(task_of(code).title for code in codes))


def _amendments(trike_id: int) -> dict[str, list[LogEntry]]:
    found: dict[str, list[LogEntry]] = defaultdict(list)
    for entry in LogEntry.objects.filter(trike_id=trike_id, kind="amendment").order_by("seq"):
        found[str(entry.body.get("card"))].append(entry)
    return found


def _without_card(trike_id: int) -> Iterator[tuple[datetime, dict[str, Any]]]:
    """Yield (moment, row) of work on record without a job card, what happened at one moment together."""
    found: dict[datetime, list[str]] = defaultdict(list)
    rows = Completion.objects.filter(trike_id=trike_id, job_card__isnull=True, via="").order_by("done_at", "pk")
    for done_at, code in rows.values_list("done_at", "task"):
        found[done_at].append(code)
    for at, codes in found.items():
        yield at, {
            "on": say_day(at), "odometer": "", "card": "", "done": _titles(codes), "put_off": "", "words": "", "amended": [],
        }  # fmt: skip


def _measured(trike_id: int) -> list[dict[str, Any]]:
    """Each quantity of each part with all its values, oldest first."""
    rows = Measurement.objects.filter(card__trike_id=trike_id, card__state=JobCard.State.SIGNED)
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    for row in rows.select_related("component__part_type").order_by("taken_at", "pk"):
        value = say_value(row.value, quantity(row.quantity).unit)
        found[row.quantity, _part(row.component)].append(f"{say_day(row.taken_at)}: {value}")
    return [
        {"quantity": quantity(code).title, "part": part, "values": values}
        for (code, part), values in sorted(found.items())
    ]


def _part(component: Component) -> str:
    title = PART_KINDS[component.part_type.kind].title
    return f"{title[:1].upper()}{title[1:]} {component}"


def _happened(trike_id: int) -> list[list[str]]:
    """Crashes, floods, long rests and failed parts, oldest first, by kind only: what was told of them may name people."""
    told = [
        (row.happened_at, row.get_kind_display().capitalize()) for row in Occurrence.objects.filter(trike_id=trike_id)
    ]
    for row in Failure.objects.filter(trike_id=trike_id).select_related("component__part_type", "card"):
        if row.card is None or row.card.state == JobCard.State.SIGNED:
            told.append((row.happened_at, _failure(row)))
    return [[say_day(at), words] for at, words in sorted(told, key=lambda pair: pair[0])]


def _bulletins(trike_id: int, plain: Plain) -> list[dict[str, Any]]:
    """Every bulletin on the parts that sit on the trike now, the open ones first, with what came of it."""
    rows = [
        {
            "number": part.bulletin.number, "title": plain(part.bulletin.title), "part": _part(part.component),
            "state": STATE_WORDS[part.state] if part.state in DONE else "not done", "on": say_day(part.since),
            "is_open": part.state not in DONE and part.bulletin.state == Bulletin.State.RELEASED,
        }
        for part in of_trike(trike_id, only_open=False)
    ]  # fmt: skip
    return sorted(rows, key=lambda row: not row["is_open"])


def _failure(row: Failure) -> str:
    cause = f", cause: {CAUSES.get(row.cause, row.cause)}" if row.cause else ""
    warranty = ", warranty" if row.warranty else ""
    return f"{_part(row.component)} failed: {MODES.get(row.mode, row.mode)}{cause}{warranty}"


def _chain(trike: Trike, now: datetime) -> dict[str, Any]:
    """The head of the logbook as it stands, walked once more before it is printed; no code where it does not hold."""
    entries = list(chain_of(trike.pk))
    broken = first_break(entries)
    seq, head = (entries[-1][0], entries[-1][3]) if entries else (0, "")
    if broken or not entries:
        why = f"Entry {broken.seq} does not hold: {broken.why}." if broken else "The logbook has no entry yet."
        return {"seq": seq, "code": "", "why": why}
    code = chain_code(trike.pk, seq, head)
    return {
        "seq": seq, "code": code, "why": "", "hash": head, "square": square(f"{settings.PUBLIC_URL}/passport/?code={code}"),
    }  # fmt: skip
