"""What a fitted shape says in the words of the workshop, and only when its limits bear it out.

Early failures (the young fail more: fitting, batch), by chance, wear-out (the old fail more). One fit in four from 1 to 4
failures has a shape 1.5 times too high: no word is said of those.
"""

from dataclasses import dataclass

from services.life_data.weibull import Weibull
from services.life_data.weibull_limits import Range, likelihood_limits

FEWEST = 5  # simulated: below it the shape is too high by half in every fourth fleet
STEEPEST = 50.0  # a shape beyond it comes of ages typed alike, not of wear
NEAR_ONE = (0.7, 1.4)  # limits within these: an age-dependent rule would not differ from none (assumption, no source)

EARLY, CHANCE, WEAR_OUT, CANNOT_TELL, TOO_FEW = "early", "chance", "wear-out", "cannot-tell", "too-few"

SENTENCES = {
    EARLY: "Early failures: the young fail more often than the old. Look at fitting and batch; replacing by age does not help.",
    CHANCE: "By chance: age makes no difference. Replacing by age does not help.",
    WEAR_OUT: "Wear-out: the older, the more often they fail.",
    CANNOT_TELL: "Cannot tell yet whether they fail early, by chance or by wear.",
    TOO_FEW: "Too few failures to tell how they fail.",
}


@dataclass(frozen=True)
class Pattern:
    """word: early, chance, wear-out, cannot-tell, too-few; sentence for the desk; the shape's limits, None when too few."""

    word: str
    sentence: str
    shape: Range | None


def pattern_of(fitted: Weibull, *, confidence: float = 0.90) -> Pattern:
    """Return what the shape says: from likelihood-ratio limits at this confidence."""
    if fitted.failures < FEWEST:
        return Pattern(TOO_FEW, SENTENCES[TOO_FEW], None)
    limits = likelihood_limits(fitted, "shape", confidence=confidence)
    word = CANNOT_TELL if fitted.shape > STEEPEST else _word(limits)
    return Pattern(word, SENTENCES[word], limits)


def _word(shape: Range) -> str:
    if shape.low > 1:
        return WEAR_OUT
    if shape.high < 1:
        return EARLY
    return CHANCE if shape.low >= NEAR_ONE[0] and shape.high <= NEAR_ONE[1] else CANNOT_TELL
