"""The review and one part type as papers: plain values for the templates, charts as SVG."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from services.due_words import say_date
from services.life_data.ladder import say_number
from services.parts import PART_KINDS
from services.review.found import ACTIONS, METRICS
from services.review.shown import per, say_chance, say_range, say_rate, say_times
from services.review.words import DIMENSION_TITLES
from tracker.queries.papers import letterhead
from tracker.queries.review_overview import Overview, Row
from tracker.queries.review_part import PartReview
from tracker.queries.review_tables import Rows

MOST_CASES, MOST_GROUPS = 60, 12


def overview_paper(found: Overview, now: datetime) -> dict[str, Any]:
    """Return the overview for its template."""
    until = found.stand.done.until if found.stand.done else None
    return {
        **letterhead("Failure review", now, "Failure review"),
        "until": say_date(until) if until else "", "comparisons": found.stand.done.comparisons if found.stand.done else 0,
        "to_do": [_row(row) for row in found.to_do], "quiet": [_row(row) for row in found.quiet],
    }  # fmt: skip


def _row(row: Row) -> dict[str, Any]:
    unit = METRICS[row.metric]
    return {
        "name": row.name, "number": row.part_number, "kind": PART_KINDS[row.kind].title, "action": ACTIONS[row.action],
        "verdict": row.verdict, "do": row.do, "failed": f"{row.counts.failed} of {row.counts.parts}",
        "rate": f"{say_rate(row.rate.rate, row.metric)} ({say_range(row.rate, row.metric)})",
        "per": f"per {per(row.metric):,} {unit}", "chance": say_chance(row.q),
    }  # fmt: skip


def part_paper(
    part: PartReview, drawings: Sequence[tuple[str, str, str]], failures: Rows, now: datetime
) -> dict[str, Any]:
    """Return one part type for its template. drawings: (title, what it shows, SVG); failures: as in its table."""
    until = part.stand.done.until if part.stand.done else None
    return {
        **letterhead(f"Failure review: {part.part_type.name}", now, f"Failure review of {part.part_type.part_number}"),
        "name": part.part_type.name, "number": part.part_type.part_number, "unit": METRICS[part.metric],
        "until": say_date(until) if until else "", "action": ACTIONS[part.finding.action],
        "verdict": part.finding.verdict, "do": part.finding.do,
        "reasons": [reason.sentence for reason in part.finding.reasons[1:]],
        "known": [part.rate.sentence, part.life.sentence, *([part.ahead.sentence] if part.ahead else [])],
        "drawings": [{"title": title, "told": told, "svg": svg} for title, told, svg in drawings],
        "groups": [_group(one, part.metric) for one in part.comparisons if one.failed][:MOST_GROUPS],
        "months": [_month(one) for one in part.months],
        "cases": [_case(row) for row in failures[:MOST_CASES]], "more": max(len(failures) - MOST_CASES, 0),
    }  # fmt: skip


def _group(one: Any, metric: str) -> list[str]:
    return [
        f"{DIMENSION_TITLES.get(one.dimension, one.dimension)} {one.group}", f"{one.failed} of {one.fitted}",
        f"{one.rest_failed} of {one.rest_fitted}", say_times(one.ratio, one.ratio_low, one.ratio_high), say_chance(one.q),
    ]  # fmt: skip


def _month(one: Any) -> list[str]:
    expected = "" if one.expected is None else f"{say_number(one.expected)} ({one.low} to {one.high})"
    return [one.month[:7], str(one.seen), expected if one.complete else "not yet complete"]


def _case(row: Sequence[Any]) -> list[str]:
    """A failure as the paper lists it: day, piece, life, how, what was written."""
    life = "life not known" if row[8] is None else f"{row[8]:,.0f} km"
    return [row[0].isoformat(), f"{row[1]}{f', batch {row[2]}' if row[2] else ''}", life, row[4], row[12] or row[11]]
