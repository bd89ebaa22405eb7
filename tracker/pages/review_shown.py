"""What the page of one part type draws and lists: charts as far as its failures carry them, groups, modes, statistics."""

from dataclasses import dataclass, field
from datetime import date

from services.life_data import trend, weibull_words
from services.life_data.ladder import MANY
from services.review.found import METRICS, Comparison
from services.review.found import Month as Kept
from services.review.judge import FAILURE, MAYBE, PLANNED
from services.review.shown import costs_of, fitted_curve, paper_limits, per, say_chance, say_rate, say_times
from services.review.words import DIMENSION_TITLES
from tracker.pages.charts import Chart
from tracker.pages.life_charts import Other, Steps, repairs_chart, survival_chart
from tracker.pages.review_charts import Month, cost_chart, months_chart
from tracker.pages.review_words import Term, terms_of
from tracker.pages.weibull_chart import Paper, weibull_chart
from tracker.queries.review_part import PartReview

BESIDE = 3  # groups that stand open beside those that are worse; the others are folded


@dataclass(frozen=True)
class Group:
    """A group against the rest, in words."""

    name: str
    failed: str
    rest: str
    rate: str
    times: str
    chance: str
    carried: int
    machines: str
    is_found: bool
    batch: str


@dataclass(frozen=True)
class Groups:
    """The groups of one dimension, the strongest evidence first: those that stand open, those that are folded."""

    title: str
    per: str
    shown: list[Group]
    folded: list[Group]

    @property
    def all(self) -> list[Group]:
        """Both."""
        return [*self.shown, *self.folded]


@dataclass(frozen=True)
class Statistics:
    """What stands behind one click: terms with their meaning, and the charts for those who read them."""

    terms: list[Term]
    charts: list[Chart] = field(default_factory=list)
    costs: str = ""


def charts_of(part: PartReview) -> dict[str, Chart]:
    """Return the charts that its failures carry: survival, repairs, months."""
    found = {"months": months_chart([_month(kept, part) for kept in part.months])}
    if part.survival.age:
        found["survival"] = _survival(part)
    if part.repairs.repairs >= trend.FEWEST and len(part.repairs.age) > 1:
        curve = part.repairs
        steps = Steps(curve.age, curve.mean, curve.low, curve.high, curve.watched, curve.age[-1])
        found["repairs"] = repairs_chart(steps, METRICS[part.metric], curve.sentence)
    return found


def _survival(part: PartReview) -> Chart:
    curve, unit = part.survival, METRICS[part.metric]
    steps = Steps(curve.age, curve.value, curve.low, curve.high, curve.at_risk, curve.drawn_until)
    watched = [
        (age, int(count)) for age, count in zip(curve.age, curve.at_risk, strict=True) if age <= curve.drawn_until
    ]
    end = max([curve.drawn_until, *curve.rug])
    return survival_chart(
        steps, unit, curve.rug, watched, [] if part.life.mixed else fitted_curve(part.life, end), _beside(part)
    )


def _beside(part: PartReview) -> Other | None:
    """The curve to compare with: everything beside a view, the batch that stands out beside everything."""
    if part.view:
        whole = part.study["survival"]
        return Other("all of this part type, all modes", whole["age"], whole["value"], whole["drawn_until"])
    batch = part.batch_view(part.suspect("batch"))
    return Other(batch.title, batch.survival.age, batch.survival.value, batch.survival.drawn_until) if batch else None


def _month(kept: Kept, part: PartReview) -> Month:
    warning = part.warning
    alarmed = warning is not None and warning.alarmed and warning.month == kept.month
    return Month(
        f"{date.fromisoformat(kept.month):%b %y}", kept.seen, kept.expected, kept.low, kept.high, kept.complete, alarmed
    )


def group_tables(part: PartReview) -> dict[str, list[Groups]]:
    """Return the groups of each dimension beside the rest: those in which one is worse ("found"), and the others ("alike")."""
    answer: dict[str, list[Groups]] = {"found": [], "alike": []}
    viewed = {key.removeprefix("batch:") for key, _ in part.choices["Batch"]}
    for dimension, title in DIMENSION_TITLES.items():
        rows = [_group(made, part.metric, viewed) for made in part.comparisons if made.dimension == dimension]
        if rows:
            found = sum(row.is_found for row in rows)
            table = Groups(
                title, f"{per(part.metric):,} {METRICS[part.metric]}", rows[: found + BESIDE], rows[found + BESIDE :]
            )
            answer["found" if found else "alike"].append(table)
    return answer


def _group(made: Comparison, metric: str, viewed: set[str]) -> Group:
    reach = f"{say_rate(made.low, metric)} to {say_rate(made.high, metric)}"
    machines = f"on {made.machines} trikes, {made.most_on_one} on one" if made.most_on_one > 1 else ""
    return Group(
        made.group, f"{made.failed} of {made.fitted}", f"{made.rest_failed} of {made.rest_fitted}",
        f"{say_rate(made.rate, metric)} ({reach})", say_times(made.ratio, made.ratio_low, made.ratio_high),
        say_chance(made.q), made.carried, machines, made.is_worse and made.q is not None and made.q <= MAYBE,
        made.group if made.dimension == "batch" and made.group in viewed else "",
    )  # fmt: skip


def statistics_of(part: PartReview) -> Statistics:
    """Return terms and charts that stand behind one click."""
    unit, life, charts, told = METRICS[part.metric], part.life, [], ""
    if (
        life.rung == MANY
        and not life.mixed
        and life.shape is not None
        and life.life is not None
        and part.survival.points
    ):
        points = [(age, share) for age, share in part.survival.points if age > 0]
        charts.append(weibull_chart(Paper(points, life.shape, life.life, paper_limits(life)), unit))
    costs = costs_of(life, PLANNED, FAILURE) if life.pattern == weibull_words.WEAR_OUT and not life.mixed else None
    if costs:
        charts.append(cost_chart(costs.points, costs.best, costs.flat, costs.saving, unit))
        told = f"Assumed: a failure costs {FAILURE / PLANNED:g} times a planned change. The proposal asks for your own figures."
    return Statistics(terms_of(part, unit), charts, told)
