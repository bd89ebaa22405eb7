"""What stands behind a finding, term by term: each with its value and one sentence that says what it means."""

from collections.abc import Iterator

from services.life_data.ladder import say_number
from services.review.found import LifeFound, Rate
from services.review.shown import per, say_chance, say_rate
from tracker.queries.review_part import PartReview

Term = tuple[str, str, str]  # name, value, what it means
BELIEVED = 0.05  # chance below which a fitted curve should not be believed


def terms_of(part: PartReview, unit: str) -> list[Term]:
    """Return the statistics of what is looked at, in the unit of its ages."""
    return [
        *_counted(part, unit),
        *_rates(part.rate, part.metric, unit),
        *([] if part.life.mixed else _life(part.life, unit)),
        *_tested(part),
    ]


def _counted(part: PartReview, unit: str) -> Iterator[Term]:
    counts = part.counts
    yield (
        "Exposure",
        f"{counts.exposure:,.0f} {unit}",
        "What all pieces ran while they were watched; survivors count too.",
    )
    yield "Oldest piece", f"{say_number(counts.oldest)} {unit}", "No age beyond it was ever seen."
    if counts.unknown_life:
        yield (
            "Past not known",
            str(counts.unknown_life),
            "Pieces that ran before, nobody knows how far: in the rate, not in the life.",
        )
    if counts.between:
        yield (
            "Found at a look",
            str(counts.between),
            "Failed somewhere between two looks: the fit takes the span, the curve its middle.",
        )


def _rates(rate: Rate, metric: str, unit: str) -> Iterator[Term]:
    each = f"per {per(metric):,} {unit}"
    if rate.low is not None:
        told = f"{say_rate(rate.rate, metric)} {each} ({say_rate(rate.low, metric)} to {say_rate(rate.high, metric)})"
        yield (
            "Rate",
            told,
            "First failures by exposure; in brackets between what the true rate lies, nine times in ten.",
        )
    if rate.shrunk is not None and rate.shrunk_low is not None and rate.shrunk_high is not None:
        reach = f"{say_rate(rate.shrunk_low, metric)} to {say_rate(rate.shrunk_high, metric)}"
        told = f"{say_rate(rate.shrunk, metric)} {each} ({reach})"
        yield (
            "Rate drawn to its sisters",
            told,
            "The fewer failures of its own, the nearer to similar parts: one in three is not yet the worst.",
        )
    if rate.usual is not None:
        yield "Usual for its kind", f"{say_rate(rate.usual, metric)} {each}", "All part types of its kind together."


def _life(life: LifeFound, unit: str) -> Iterator[Term]:
    for name, value, low, high, meaning in (
        ("Shape", life.shape, life.shape_low, life.shape_high,
         "Above 1 the old fail more often (wear), below 1 the young; limits that include 1 cannot tell."),
        ("B10", life.b10, life.b10_low, life.b10_high, "The age by which one in ten has failed."),
        ("B50", life.b50, life.b50_low, life.b50_high, "The age by which half have failed."),
        ("Life", life.life, life.life_low, life.life_high, "The age that 63 in 100 do not reach."),
    ):  # fmt: skip
        if value is not None:
            measure = "" if name == "Shape" else f" {unit}"
            reach = f"{say_number(low or 0.0)} to {say_number(high) if high else 'no limit'}"
            yield name, f"{say_number(value)}{measure} ({reach})", meaning
    if life.low_b10 is not None and life.borrowed is not None:
        told = f"at least {say_number(life.low_b10)} {unit}"
        yield (
            "B10 with a borrowed shape",
            told,
            f"Too few failures for a shape of its own: {say_number(life.borrowed)} is a sister's.",
        )
    if life.wear_out_p is not None:
        yield "Wear by chance", say_chance(life.wear_out_p), "How often chance alone would look so much like wear."
    if life.gof_p is not None:
        fits = "nothing speaks against it" if life.gof_p >= BELIEVED else f"no: {say_chance(life.gof_p)}"
        yield (
            "Does the curve fit",
            fits,
            "How often failures lie this far from a true curve; below 1 in 20 do not believe it.",
        )


def _tested(part: PartReview) -> Iterator[Term]:
    if part.finding.q is not None:
        yield (
            "Chance after all (q)",
            say_chance(part.finding.q),
            "Of all findings of this review at least as strong, so many are chance after all.",
        )
    if part.repairs.p is not None:
        yield (
            "Trend by chance",
            say_chance(part.repairs.p),
            "How often repairs without any trend would look so much like one.",
        )
