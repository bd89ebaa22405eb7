"""A part type in which a batch or a version is proven worse: one life for all would describe neither, so they are told apart."""

from dataclasses import replace

import numpy as np

from services.review.found import WITHOUT, Comparison, Study
from services.review.observed import PartLives
from services.review.outlook import ahead_apart
from services.review.study import view

MIXED = "One group fails far more than the rest: a common life fits neither, so no age to replace at is named."
TRACED = ("batch", "firmware")  # what a piece was born with


def apart(part: PartLives, study: Study, sure: float) -> Study:
    """Return the study with the groups of a q of at most `sure` told apart: what is ahead by each one's own law, and a view
    of all others. Unchanged where there is none.
    """
    worse = [made for made in study.comparisons if is_proven(made, sure)]
    if not worse:
        return study
    rows = np.zeros(len(part.component), dtype=bool)
    for made in worse:
        rows |= part.groups[made.dimension] == made.group
    titles = ", ".join(f"{made.dimension} {made.group}" for made in worse)
    others = [view(part, WITHOUT, f"all but {titles}", ~rows)] if (~rows).any() else []
    return replace(
        study, ahead=ahead_apart([part.only(rows), part.only(~rows)]), life=replace(study.life, sentence=MIXED, mixed=MIXED),
        views=[*others, *study.views],
    )  # fmt: skip


def is_proven(made: Comparison, sure: float) -> bool:
    """Return whether a group that a piece was born with is worse, with a q of at most `sure`."""
    return made.dimension in TRACED and made.is_worse and made.q is not None and made.q <= sure
