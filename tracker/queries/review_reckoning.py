"""The failure review reckoned: the whole record, part type by part type, then all together. Background work, no transaction.

What a part type shows by itself is kept with a fingerprint of its lives; only where these changed is it reckoned again. What
follows beside the others (q, rank, verdict) is reckoned anew each time: it takes milliseconds.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime

import numpy as np

from services.review.found import Study, as_plain, study_of
from services.review.judge import Judged, Review, judge
from services.review.metrics import FEWEST_READ, main_metric, metrics_for
from services.review.observed import PartLives, Streams
from services.review.study import study
from tracker.models import ReviewFinding
from tracker.queries.clock import local_date
from tracker.queries.review_ground import read_ground
from tracker.queries.review_lives import first_of_month, fleet_lives

ARITHMETIC = "5"  # raise it when services/review or life_data reckon otherwise: everything is then reckoned again
Key = tuple[int, str]


@dataclass(frozen=True)
class Row:
    """A finding ready to be stored."""

    part_type: int
    metric: str
    is_main: bool
    fingerprint: str
    study: Study
    judged: Judged


@dataclass(frozen=True)
class Reckoned:
    """A whole review, not yet stored. anew: how many studies were not at hand."""

    until: date
    rows: list[Row]
    anew: int
    comparisons: int
    false_alarms_a_year: float

    @property
    def data_version(self) -> str:
        """One fingerprint over all lives."""
        told = "".join(sorted(f"{row.part_type}/{row.metric}/{row.fingerprint}" for row in self.rows))
        return hashlib.sha256(told.encode()).hexdigest()


def reckon(now: datetime, afresh: bool = False) -> Reckoned:
    """Return the review of everything until the start of the running month; afresh: use no kept study."""
    until = first_of_month(local_date(now))
    ground = read_ground(until)
    parts = _all_parts(fleet for metric in ("km", "days", *ground.meters) for fleet in fleet_lives(ground, metric))
    kept = {} if afresh else _kept()
    studies: dict[Key, tuple[str, Study]] = {}
    anew = 0
    for key, part in parts.items():
        mark = fingerprint(part, until)
        old = kept.get(key)
        if old is not None and old[0] == mark:
            studies[key] = (mark, study_of(old[1]))
        else:
            # Taken as it will be kept, so that a review from kept studies is the same to the last digit.
            studies[key], anew = (mark, study_of(as_plain(study(part, until)))), anew + 1
    return _together(until, parts, studies, anew)


def _all_parts(lives: Iterable[PartLives]) -> dict[Key, PartLives]:
    """By part type and metric; a meter only where it was read on half of the pieces at least."""
    found = {(part.part_type, part.metric): part for part in lives}
    return {
        (pk, metric): part for (pk, metric), part in found.items()
        if metric in metrics_for(part.kind)
        and (metric in ("km", "days") or len(part.component) >= FEWEST_READ * _pieces(found, pk))
    }  # fmt: skip


def _pieces(found: dict[Key, PartLives], part_type: int) -> int:
    return len(found[part_type, "km"].component) if (part_type, "km") in found else 0


def _kept() -> dict[Key, tuple[str, dict]]:
    rows = ReviewFinding.objects.values_list("part_type_id", "metric", "fingerprint", "payload")
    return {(pk, metric): (mark, payload["study"] | payload["alone"]) for pk, metric, mark, payload in rows}


def _together(
    until: date, parts: dict[Key, PartLives], studies: dict[Key, tuple[str, Study]], anew: int
) -> Reckoned:  # fmt: skip
    """Main metrics judged with each other; any other metric with all part types that are reckoned in it."""
    mains = [key for key, part in parts.items() if key[1] == main_metric(part.kind)]
    main = _judged(mains, parts, studies)
    rows = _rows(main, studies, True)
    for metric in sorted({metric for _, metric in parts}):
        keys = [key for key in parts if key[1] == metric]
        review = _judged(keys, parts, studies)
        rows += [row for row in _rows(review, studies, False) if (row.part_type, row.metric) not in mains]
    return Reckoned(until, rows, anew, main.comparisons, main.false_alarms_a_year)


def _judged(keys: list[Key], parts: dict[Key, PartLives], studies: dict[Key, tuple[str, Study]]) -> Review:
    return judge([parts[key] for key in keys], [studies[key][1] for key in keys])


def _rows(review: Review, studies: dict[Key, tuple[str, Study]], is_main: bool) -> list[Row]:
    return [
        Row(one.part.part_type, one.part.metric, is_main, *studies[one.part.part_type, one.part.metric], one)
        for one in review.judged
    ]


def fingerprint(part: PartLives, until: date) -> str:
    """Return a fingerprint of the lives: the same lives, the same fingerprint; ages to a metre, a minute."""
    told = hashlib.sha256(f"{ARITHMETIC}/{until}/{part.kind}/{part.metric}/{part.running}".encode())
    for one in [*fields(PartLives), *fields(Streams)]:
        value = getattr(part if one in fields(PartLives) else part.streams, one.name)
        if isinstance(value, np.ndarray):
            _mark(told, value)
    for name in sorted(part.groups):
        _mark(told, part.groups[name])
    return told.hexdigest()


def _mark(told: "hashlib._Hash", column: np.ndarray) -> None:
    plain = np.round(column, 3) if column.dtype.kind == "f" else column
    told.update(f"{plain.dtype}{plain.shape}".encode())
    told.update(np.ascontiguousarray(plain).tobytes())


def as_payload(row: Row) -> dict:
    """Return what is stored of a finding: what the part type shows, made whole beside the others, and its verdict.

    alone: the parts of the study that the others changed, as they were by themselves, for the next review.
    """
    alone = as_plain(row.study)
    return {
        "study": as_plain(row.judged.study), "finding": as_plain(row.judged.finding),
        "alone": {name: alone[name] for name in ("life", "ahead")},
    }  # fmt: skip
