"""What a reviewer takes along: the review and one part type as tables. Machines and parts only: no owner, no name, no free word
that has not been gone through for them.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

import numpy as np

from services.discretion import without_people
from services.failures import CAUSES, FOUND, MODES
from services.parts import PART_KINDS
from services.review.found import ACTIONS, METRICS, Comparison
from services.review.shown import per
from services.safe_cells import Value
from tracker.models import Component, Failure, Owner, PartType
from tracker.queries.clock import local_date
from tracker.queries.review_ground import read_ground
from tracker.queries.review_lives import first_of_month, fleet_lives
from tracker.queries.review_overview import Row
from tracker.queries.review_part import PartReview, cases, with_lives

Rows = list[list[Value]]
FINDINGS = (
    "Rank", "Kind", "Part type", "Part number", "Action", "Verdict", "Counted in", "Failed", "Watched", "In the field",
    "Exposure (in its unit)", "Rate (per 10,000 km or 1,000 of its unit)", "Rate low (90 %)", "Rate high (90 %)",
    "Usual for its kind", "Pattern", "Trend of repairs", "q (share of false findings)", "Flagged since",
)  # fmt: skip
REASONS = ("Kind", "Group", "p", "q", "Reason")
GROUPS = (
    "By", "Group", "Failed", "Fitted", "Exposure ({unit})", "Expected if all failed alike", "Rest failed", "Rest fitted",
    "Rest exposure ({unit})", "Rest expected", "Times the rate", "Times low (90 %)", "Times high (90 %)", "p", "q",
    "Still carried", "On trikes", "Most on one trike",
)  # fmt: skip
LIVES = (
    "Serial", "Batch", "Firmware", "Made on", "Trike model", "Watched from ({unit})", "Watched until ({unit})", "Failed",
    "Last seen good ({unit})", "How it failed", "Failures in all", "Still in the field", "Age known",
)  # fmt: skip
FAILURES = (
    "Failed on", "Serial", "Batch", "Trike", "How", "Cause", "Found", "Warranty", "Life (km)", "Life (days)", "Job card",
    "Complaint", "Cause in words", "Correction", "Note",
)  # fmt: skip
MONTHS = ("Month", "Failed", "Expected", "Expected low (90 %)", "Expected high (90 %)", "Month is complete")


def with_unit(head: Iterable[str], metric: str) -> list[str]:
    """Return the columns with the unit of their ages."""
    return [title.format(unit=METRICS[metric]) for title in head]


def finding_rows(rows: Iterable[Row]) -> Rows:
    """Return the review, a row for each part type."""
    return [_finding(row) for row in rows]


def _finding(row: Row) -> list[Value]:
    scale, counts, rate = per(row.metric), row.counts, row.rate
    return [
        row.rank, PART_KINDS[row.kind].title if row.kind in PART_KINDS else row.kind, row.name, row.part_number,
        ACTIONS[row.action], row.verdict, METRICS[row.metric], counts.failed, counts.parts, counts.fitted,
        counts.exposure, rate.rate * scale, _times(rate.low, scale), rate.high * scale, _times(rate.usual, scale),
        row.pattern, row.trend, row.q, row.flagged_since,
    ]  # fmt: skip


def _times(value: float | None, scale: float) -> float | None:
    return None if value is None else value * scale


def reason_rows(part: PartReview) -> Rows:
    """Return why something is said of a part type."""
    return [[reason.kind, reason.group, reason.p, reason.q, reason.sentence] for reason in part.finding.reasons]


def group_rows(made: Iterable[Comparison]) -> Rows:
    """Return every group against the rest."""
    return [
        [
            one.dimension, one.group, one.failed, one.fitted, one.exposure, one.expected, one.rest_failed, one.rest_fitted,
            one.rest_exposure, one.rest_expected, one.ratio, one.ratio_low, one.ratio_high, one.p, one.q, one.carried,
            one.machines, one.most_on_one,
        ]
        for one in made
    ]  # fmt: skip


def month_rows(part: PartReview) -> Rows:
    """Return failures by month beside what was expected."""
    return [
        [date.fromisoformat(one.month), one.seen, one.expected, one.low, one.high, one.complete] for one in part.months
    ]


def life_rows(part_type: PartType, metric: str, now: datetime) -> Rows:
    """Return the lives of a part type as the review reckons them: until the start of this month, survivors too."""
    lives = fleet_lives(read_ground(first_of_month(local_date(now)), only={part_type.pk}), metric)
    if not lives:
        return []
    (part,) = lives
    pieces = Component.objects.in_bulk(part.component.tolist())
    rows = []
    for at, pk in enumerate(part.component.tolist()):
        piece, looked = pieces[pk], float(part.last_good[at])
        rows.append([
            piece.serial or "", piece.batch, piece.firmware, piece.made_on, str(part.groups["model"][at]),
            float(part.entry[at]), float(part.end[at]), bool(part.failed[at]), None if np.isnan(looked) else looked,
            MODES.get(str(part.mode[at]), str(part.mode[at])), int(part.repairs[at]), bool(part.fitted[at]),
            bool(part.known[at]),
        ])  # fmt: skip
    return rows


def failure_rows(part_type: PartType, now: datetime) -> Rows:
    """Return its failures, newest first, what was written of them without people in it."""
    failures = list(cases(part_type.pk, now))
    people = _people(failures)
    told = with_lives(failures, [], now).cases
    return [_failure(row, life, people.get(row.trike_id, ([], []))) for row, life in told]


def _failure(row: Failure, life: Any, people: tuple[list[str], list[str]]) -> list[Value]:
    card = row.card
    written = (card.complaint, card.cause, card.correction) if card else ("", "", "")
    return [
        local_date(row.happened_at), str(row.component), row.component.batch, str(row.trike),
        MODES.get(row.mode, row.mode), CAUSES.get(row.cause, row.cause), FOUND.get(row.found, row.found), row.warranty,
        None if life.is_unknown else life.km, life.days_fitted, card.number if card else "",
        *(without_people(text, *people) for text in (*written, row.note)),
    ]  # fmt: skip


def _people(failures: list[Failure]) -> dict[int, tuple[list[str], list[str]]]:
    """Trike -> names and phone numbers of everybody who ever owned it."""
    found: dict[int, tuple[list[str], list[str]]] = {}
    owned = Owner.objects.filter(ownerships__trike__in={row.trike_id for row in failures})
    for trike, name, phone in owned.values_list("ownerships__trike", "name", "phone"):
        names, phones = found.setdefault(trike, ([], []))
        names.append(name)
        phones.append(phone)
    return found
