"""What a trike was built from and what was changed since, with the life of each part: the passport's two lists of parts."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime

from services.positions import POSITIONS
from tracker.models import Fitment, Trike
from tracker.queries.clock import day_of, local_date
from tracker.queries.life import ComponentRun
from tracker.queries.papers import say_day, say_life


def _place(code: str) -> str:
    title = POSITIONS[code].title if code in POSITIONS else code
    return title[:1].upper() + title[1:]


def _by_position(fitments: Sequence[Fitment]) -> dict[str, list[Fitment]]:
    """The fitments of each position, oldest first, in the order the workshop lists positions."""
    found: dict[str, list[Fitment]] = defaultdict(list)
    for row in fitments:
        found[row.position].append(row)
    return {code: found[code] for code in POSITIONS if code in found}


def _is_as_built(trike: Trike, first: Fitment) -> bool:
    return trike.delivered_on is None or local_date(first.fitted_at) <= trike.delivered_on


def as_built(
    trike: Trike, fitments: Sequence[Fitment], runs: dict[int, ComponentRun], now: datetime
) -> Iterator[list[str]]:
    """Yield position, part, serial at handover, what sits there now and how far it has run."""
    for code, rows in _by_position(fitments).items():
        first, last = rows[0], rows[-1]
        built = first if _is_as_built(trike, first) else None
        here = last if last.removed_at is None else None
        named = built or last
        life = say_life(runs[here.component_id].life_at(day_of(now))) if here else ""
        yield [
            _place(code), named.component.part_type.name, str(built.component) if built else "",
            _now_there(built, here), life,
        ]  # fmt: skip


def _now_there(built: Fitment | None, here: Fitment | None) -> str:
    if here is None:
        return "empty"
    return "as built" if built is not None and here.component_id == built.component_id else str(here.component)


def swaps(
    trike: Trike, fitments: Sequence[Fitment], runs: dict[int, ComponentRun], plain: Callable[[str], str]
) -> Iterator[tuple[datetime, dict[str, str]]]:
    """Yield (moment, row) for everything taken off, with its life, and everything put on since the handover."""
    for code, rows in _by_position(fitments).items():
        put_on = {row.fitted_at: row for row in rows[1 if _is_as_built(trike, rows[0]) else 0 :]}
        for row in (row for row in rows if row.removed_at is not None):
            new = put_on.pop(row.removed_at, None)
            life = say_life(runs[row.component_id].life_at(day_of(row.removed_at)))
            why = ", ".join(text for text in (plain(row.removal_reason), row.get_fate_display()) if text)
            yield row.removed_at, _swap(row.removed_at, code, str(row.component), life, new, why)
        for row in put_on.values():
            yield row.fitted_at, _swap(row.fitted_at, code, "", "", row, "")


def _swap(at: datetime, code: str, old: str, life: str, new: Fitment | None, why: str) -> dict[str, str]:
    return {
        "on": say_day(at), "place": _place(code), "old": old, "life": life,
        "new": str(new.component) if new else "", "why": why,
    }  # fmt: skip
