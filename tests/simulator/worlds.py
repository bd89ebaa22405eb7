"""What a simulated world is made of: the base fleet and ten others. All figures are assumptions, from no real fleet."""

from dataclasses import dataclass, replace

MONTH_PROFILE = (0.30, 0.40, 0.75, 1.15, 1.45, 1.55, 1.55, 1.50, 1.25, 0.95, 0.60, 0.35)
BENCH_MONTHS = (0.4, 0.4, 2, 2, 2, 1, 1, 1, 1, 0.8, 0.8, 0.4)


@dataclass(frozen=True)
class World:
    """The numbers of one world; rates are per year, distances in km, times in days. The defaults are the base world."""

    median_km: float = 2800.0
    spread: float = 0.75
    two_groups: tuple[float, float, float] | None = None  # two medians in km a year, and the spread within each
    profile: tuple[float, ...] = MONTH_PROFILE
    profile_power_sd: float = 0.35
    southern_share: float = 0.08
    layup_share: float = 0.30
    layup_winters: float = 0.85
    wander_sd: float = 0.30
    wander_days: float = 90.0
    novelty: float = 0.30
    novelty_days: float = 120.0
    ageing: float = -0.05
    changes: float = 0.15
    illnesses: float = 0.12
    tours: float = 0.20
    tour_km: float = 700.0
    stops: float = 0.03
    bench: float = 1.0
    never_report: float = 0.35
    owner_median: float = 2.5
    owner_spread: float = 0.8
    late_share: float = 0.30
    late_days: float = 3.0
    unit_slips: float = 0.02
    typos: float = 0.01
    doubles: float = 0.01
    swaps: float = 0.03
    announced: float = 0.5


BASE = World()
WORLDS: dict[str, World] = {
    "base": BASE,
    "volatile": replace(BASE, wander_sd=0.6),
    "many_layups": replace(BASE, layup_share=0.7),
    "few_readings": replace(BASE, bench=0.4, never_report=0.8),
    "errors_x3": replace(BASE, unit_slips=0.06, typos=0.03),
    "changeable": replace(BASE, changes=0.6, stops=0.08),
    "wide": replace(BASE, spread=1.1),
    "tourers": replace(BASE, tours=1.0, tour_km=1500.0),
    "no_season": replace(BASE, profile=(1.0,) * 12, layup_share=0.0),
    "half_southern": replace(BASE, southern_share=0.5),
    "two_groups": replace(BASE, two_groups=(900.0, 8700.0, 0.4)),
}
