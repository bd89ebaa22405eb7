"""How full the bench is on the days ahead: agreed appointments, and open visits on the days proposed for them."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date

from django.conf import settings
from django.db.models import Exists, OuterRef

from services.bench_days import Bench
from services.kinds import all_tasks
from tracker.models import Appointment, Visit, VisitLine
from tracker.queries.appointments import ahead
from tracker.queries.closings import Closed, days_closed


@dataclass
class BenchLoad:
    """Minutes taken by day, and by whom, so that a trike's own work does not stand in its own way."""

    taken: Counter[date] = field(default_factory=Counter)
    mine: dict[int, tuple[date, int]] = field(default_factory=dict)
    agreed: dict[int, date] = field(default_factory=dict)  # trike id -> day of its confirmed appointment
    closed: Closed = field(default_factory=lambda: {"closed_weekdays": (), "closed_dates": ()})

    def take(self, trike_id: int, on: date, minutes: int) -> None:
        """Count the work on this trike on this day, and on no other."""
        self.leave(trike_id)
        self.mine[trike_id] = (on, minutes)
        self.taken[on] += minutes

    def leave(self, trike_id: int) -> None:
        """Count no work on this trike, unless a day is agreed for it."""
        if trike_id in self.agreed:
            return
        on, minutes = self.mine.pop(trike_id, (None, 0))
        if on is not None:
            self.taken[on] -= minutes

    def bench(self) -> Bench:
        """Return the days as they are filled now."""
        return Bench(settings.BENCH_MINUTES_A_DAY, self.taken, **self.closed)


def bench_load(today: date) -> BenchLoad:
    """Return how full the days from `today` on are. Three queries. What owners do themselves takes no time at the bench."""
    load = BenchLoad(closed=days_closed(today))
    own = [task.code for task in all_tasks() if task.owner_can]
    for_bench = VisitLine.objects.filter(visit=OuterRef("pk")).exclude(task__in=own)
    visits = Visit.objects.filter(Exists(for_bench), state=Visit.State.OPEN, planned_on__gte=today)
    for trike_id, on, minutes in visits.values_list("trike_id", "planned_on", "minutes"):
        load.take(trike_id, on, minutes)
    agreed = ahead(today).filter(state=Appointment.State.CONFIRMED)
    for trike_id, on, minutes in agreed.values_list("trike_id", "on", "minutes"):
        load.take(trike_id, on, minutes or load.mine.get(trike_id, (on, 0))[1])
        load.agreed[trike_id] = on
    return load
