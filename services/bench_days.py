"""Room at the bench: a day that is full hands a proposed visit on to the next day with room, safety limits before all."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from services.due_words import say_date

LATE_DAYS = 28  # within which a safety task that is late already waits for a day with room: common practice, no source
SEARCHED_DAYS = 60  # ahead of the wanted day; a bench that is full for longer needs people, not another date


def works_on(day: date, closed_weekdays: Collection[int], closed_dates: Collection[date]) -> bool:
    """Whether the workshop works on a day: it has weekdays without work (Monday 0), and single days such as a holiday's."""
    return day.weekday() not in closed_weekdays and day not in closed_dates


@dataclass(frozen=True)
class Bench:
    """What a day holds: minutes at most (0: no limit), minutes taken by day, the days without work."""

    minutes: int
    taken: Mapping[date, int]
    closed_weekdays: Collection[int] = ()  # Monday 0
    closed_dates: Collection[date] = ()

    def is_open(self, day: date) -> bool:
        """Whether the workshop works on that day."""
        return works_on(day, self.closed_weekdays, self.closed_dates)

    def has_room(self, day: date, minutes: int) -> bool:
        """Whether work of `minutes` still goes into the day; work longer than a day wants a whole one."""
        taken = self.taken.get(day, 0)
        return self.minutes == 0 or taken == 0 or taken + minutes <= self.minutes


@dataclass(frozen=True)
class BenchDay:
    """The day to propose, and why it is not the wanted one; no words where it is."""

    on: date
    words: str = ""


def day_with_room(wanted: date, minutes: int, bench: Bench, *, today: date, latest: date | None = None) -> BenchDay:
    """Return the wanted day, or the next open day with room for `minutes` of work.

    `latest`: the last day a safety task of the visit may wait for, None where there is none. Where no day up to it has
    room, the nearest earlier one from `today` on serves; where there is none either, the wanted day stands overfull: a full
    bench never puts off what safety calls for. So does the wanted day where SEARCHED_DAYS ahead are full. A limit that lies
    before the wanted day is missed already: the next day with room within LATE_DAYS is the soonest that can be kept.
    """
    if bench.has_room(wanted, minutes):
        return BenchDay(wanted)
    later = _days(wanted + timedelta(days=1), _last_day(wanted, latest))
    earlier = _days(today, wanted - timedelta(days=1))[::-1]
    found = _first(later, minutes, bench)
    if found is not None:
        return BenchDay(found, f"The bench is full on {say_date(wanted)}, so it moved to the next day with room.")
    found = _first(earlier, minutes, bench) if latest is not None else None
    if found is not None:
        return BenchDay(
            found, f"The bench is full on {say_date(wanted)} and safety does not wait, so it moved forward."
        )
    reason = "safety does not wait" if latest is not None else "no day near it has room"
    return BenchDay(wanted, f"The bench is full on {say_date(wanted)}; the day stands because {reason}.")


def _last_day(wanted: date, latest: date | None) -> date:
    if latest is None:
        return wanted + timedelta(days=SEARCHED_DAYS)
    return (
        wanted + timedelta(days=LATE_DAYS) if latest < wanted else min(latest, wanted + timedelta(days=SEARCHED_DAYS))
    )


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]


def _first(days: Collection[date], minutes: int, bench: Bench) -> date | None:
    return next((day for day in days if bench.is_open(day) and bench.has_room(day, minutes)), None)
