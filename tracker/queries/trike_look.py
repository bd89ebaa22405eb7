"""What the trike page shows at one look, in a fixed number of queries."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from services.forecast import distance_on
from services.part_state import WORST_FIRST
from tracker.models import DueLine, Fitment, Handover, JobCard, OdometerReading, OutboxMessage, Owner, Trike, Visit
from tracker.queries.clock import day_of, local_date
from tracker.queries.fleet import DueTold, owner_of, told
from tracker.queries.life import Distance, TrikeClock, clocks_of, distances_now, handover_of
from tracker.queries.pictures import DistancePicture, distance_picture
from tracker.queries.trike_log import once_fitted, still_fitted
from tracker.queries.trike_parts import Place, places_of
from tracker.queries.usage import LateDoubt, doubts_of


@dataclass(frozen=True)
class TrikeLook:
    """One look at a trike. at_least_km: its life is hardly less. stays: every fitment it ever had, oldest first."""

    trike: Trike
    owner: Owner | None
    distance: Distance
    at_least_km: float
    places: list[Place]
    stays: list[Fitment]
    due: list[DueTold]
    open_card: JobCard | None
    visit: Visit | None
    handover: Handover | None
    readings: list[OdometerReading]
    cards: list[JobCard]
    messages: list[OutboxMessage]
    picture: DistancePicture | None
    doubts: list[LateDoubt]

    @property
    def unit(self) -> str:
        """The unit its owner reads distances in."""
        return self.owner.distance_unit if self.owner else "km"

    @property
    def asking(self) -> list[tuple[str, int]]:
        """(state, how many parts), worst first, of the states that parts are in."""
        codes = [place.state.code for place in self.places if place.part]
        return [(code, codes.count(code)) for code in WORST_FIRST if code in codes]


def trike_look(trike_id: int, now: datetime) -> TrikeLook | None:
    """Return everything the trike page shows but its logbook, or None where there is no such trike."""
    trike = Trike.objects.filter(pk=trike_id).first()
    if trike is None:
        return None
    clocks = clocks_of([trike_id])
    stays = once_fitted(trike_id)
    lines = list(
        DueLine.objects.filter(trike_id=trike_id, due_on__isnull=False)
        .select_related("component__part_type").order_by("due_on", "pk")
    )  # fmt: skip
    return TrikeLook(
        trike=trike,
        owner=owner_of(trike_id),
        distance=distances_now([trike_id], now, clocks)[trike_id],
        at_least_km=_at_least(clocks[trike_id], now),
        places=places_of(still_fitted(stays), lines, now, clocks),
        stays=stays,
        due=told(lines, local_date(now)),
        open_card=trike.job_cards.filter(state=JobCard.State.DRAFT).first(),
        visit=trike.visits.filter(state=Visit.State.OPEN).prefetch_related("lines").first(),
        handover=handover_of(trike_id),
        readings=list(trike.readings.select_related("photo")[:12]),
        cards=list(trike.job_cards.exclude(state=JobCard.State.DRAFT)[:12]),
        messages=list(trike.messages.all()[:6]),
        picture=distance_picture(clocks[trike_id], now),
        doubts=doubts_of(trike_id, now, clocks[trike_id]),
    )


def _at_least(clock: TrikeClock, now: datetime) -> float:
    """The life (km) that nine cases in ten exceed by now; never less than at the last reading."""
    day = np.float64(day_of(now))
    least = float(distance_on(clock.state, day, (0.1,), clock.book.km)[0])
    return min(max(least, clock.timeline.last_km), float(clock.life_at(day)))
