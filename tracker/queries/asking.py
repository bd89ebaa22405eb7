"""Whom to ask what the display shows before anything is announced: chances of being due, for many trikes in one go."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta

import numpy as np
from django.db.models import Max

from services.forecast import chance_by
from services.rates import RateState
from services.reminding import RULE, Step, may_ask, next_step
from tracker.models import DueLine, OdometerReading, Trike
from tracker.queries.clock import day_of, day_of_date, local_date
from tracker.queries.life import TrikeClock, clocks_of

Key = tuple[int, str]  # component id, task
LEAD = timedelta(days=RULE.lead_days)
AHEAD = LEAD + timedelta(days=60)  # with a 10 % day later than that, a task is not due within LEAD: not even with 4 %


def read_days(trike_ids: Iterable[int]) -> dict[int, float]:
    """Return trike id -> day of its last accepted reading, of its delivery where there is none. Two queries."""
    ids = list(trike_ids)
    delivered = Trike.objects.filter(pk__in=ids, delivered_on__isnull=False).values_list("pk", "delivered_on")
    days = {pk: day_of_date(on) for pk, on in delivered}
    accepted = OdometerReading.objects.filter(trike_id__in=ids, verdict=OdometerReading.Verdict.ACCEPTED)
    for pk, read_at in accepted.order_by().values_list("trike_id").annotate(last=Max("read_at")):
        days[pk] = day_of(read_at)
    return days


def may_be_asked(asked: Mapping[int, Sequence[datetime]], now: datetime) -> dict[int, float]:
    """Return trike id -> days since its last reading, of those whose owners a question is no bother to. Two queries.

    `asked`: trike id -> when its owner was asked so far. Fresh readings leave nothing to ask.
    """
    today = day_of(now)
    ages = {pk: today - day for pk, day in read_days(asked).items()}
    return {
        pk: age
        for pk, age in ages.items()
        if age > RULE.fresh_days and may_ask([today - day_of(at) for at in asked[pk]], age)
    }


def steps_of(
    lines: Mapping[int, Sequence[DueLine]], reading_ages: Mapping[int, float], now: datetime
) -> dict[int, dict[Key, Step]]:
    """Return trike id -> the step each of its tasks calls for: wait, ask, remind. Queries as clocks_of, once for all.

    For trikes whose owners may be asked. Tasks of owners themselves and those far ahead are left out. A task that no
    reading can move (a date, an event, a limit shown passed) is never asked about.
    """
    today = local_date(now)
    near = [line for pk in reading_ages for line in lines.get(pk, ()) if not line.owner_can and _is_near(line, today)]
    if not near:
        return {}
    chances = _chances([line for line in near if not _is_settled(line, today)], now)
    steps: dict[int, dict[Key, Step]] = defaultdict(dict)
    chance = [chances.get(line.pk, float(line.due_on <= today + LEAD)) for line in near]
    ages = [reading_ages[line.trike_id] if line.pk in chances else 0.0 for line in near]
    found = next_step(np.array(chance), np.array(ages), np.inf, np.array([line.safety for line in near]))
    for line, step in zip(near, found, strict=True):
        steps[line.trike_id][line.component_id, line.task] = Step(int(step))
    return dict(steps)


def _is_near(line: DueLine, today: date) -> bool:
    return (line.likely_from or line.due_on) <= today + AHEAD


def _is_settled(line: DueLine, today: date) -> bool:
    """Whether no reading can move it: the day is certain, hangs on no distance, or a calendar limit calls it soon anyway."""
    certain = line.likely_from == line.due_on == line.likely_until
    by_calendar = line.facts.get("limits", {}).get("on")
    return (
        certain
        or line.facts.get("target_km") is None
        or (by_calendar is not None and date.fromisoformat(by_calendar) <= today + LEAD)
    )


def _chances(lines: Sequence[DueLine], now: datetime) -> dict[int, float]:
    """Due line id -> the chance that it is due within LEAD, by its trike's distance."""
    clocks = clocks_of({line.trike_id for line in lines}) if lines else {}
    by_book: dict[int | None, list[DueLine]] = defaultdict(list)
    for line in lines:
        by_book[clocks[line.trike_id].book.row_id].append(line)
    chances: dict[int, float] = {}
    for some in by_book.values():
        chances |= _chances_of_a_book(some, [clocks[line.trike_id] for line in some], day_of(now) + LEAD.days)
    return chances


def _chances_of_a_book(lines: Sequence[DueLine], clocks: Sequence[TrikeClock], day: float) -> dict[int, float]:
    state = RateState.stacked([clock.state for clock in clocks])
    targets = np.array([line.facts["target_km"] for line in lines])
    chances = chance_by(state, np.full(len(lines), day), targets, clocks[0].book.km)
    return {line.pk: float(chance) for line, chance in zip(lines, chances, strict=True)}
