"""A word on a reading while it is typed: inside what is expected, or what it looks like. Nothing is written."""

from datetime import datetime

from services.errors import Refusal
from services.odometer import judge_reading
from services.readings import ACCEPTED
from tracker.queries.clock import day_of
from tracker.queries.usage import doubt_of, segment_around

# Codes of a slip of the unit, by the trike's own rules (typed_in_...) and by the rider's ways.
LOOKS = {
    "miles_as_km": "Looks like miles", "typed_in_miles": "Looks like miles",
    "km_as_miles": "Looks like kilometres", "typed_in_km": "Looks like kilometres",
}  # fmt: skip


def word_on_reading(trike_id: int, value: float, unit: str, now: datetime) -> tuple[str, str]:
    """Return (ok, suspect or bad; words) for a value read `now`, against the readings of its display before it."""
    segment = segment_around(trike_id, now)
    try:
        verdict = judge_reading(
            day=day_of(now), value=float(value), unit=unit, now_day=day_of(now), delivered_day=segment.delivered_day,
            readings_days=segment.days, readings_km=segment.km, km_per_day=segment.km_per_day, strict=True,
            zero_km=segment.zero_km,
        )  # fmt: skip
        doubt = doubt_of(segment, value, unit, day_of(now), owner=False)
    except Refusal as refusal:
        return "bad", f"{refusal.message} {refusal.remedy}".strip()
    if verdict.state != ACCEPTED.state:
        return "suspect", _sentence([proposal.code for proposal in verdict.proposals], verdict.reason)
    if doubt is not None and doubt.ask:
        return "suspect", _sentence([meaning.code for meaning in doubt.meanings], doubt.reason)
    return "ok", "Inside what is expected" if doubt is not None else "Noted: nothing to hold it against"


def _sentence(codes: list[str], reason: str) -> str:
    looks = next((LOOKS[code] for code in codes if code in LOOKS), "Not what is expected")
    return f"{looks}. {reason}"
