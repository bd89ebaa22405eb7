"""What the shape says: a word only when the limits bear it out."""

import numpy as np
import pytest

from services.life_data.lives import observed
from services.life_data.weibull import fit
from services.life_data.weibull_words import SENTENCES, pattern_of
from tests.services.life_data.published import lives_of


@pytest.mark.parametrize(
    ("lives", "word"),
    [("ball-bearings", "wear-out"), ("shock-absorbers", "wear-out"), ("generator-fans", "cannot-tell")],
)
def test_published_lives_in_the_words_of_the_workshop(lives, word):
    assert pattern_of(fit(lives_of(lives))).word == word


@pytest.mark.parametrize(("shape", "word"), [(0.5, "early"), (1.0, "chance"), (2.0, "wear-out")])
def test_many_failures_tell_the_shape_they_were_made_with(shape, word, rng):
    pattern = pattern_of(fit(observed(rng.weibull(shape, 300), np.ones(300))))
    assert (pattern.word, pattern.sentence) == (word, SENTENCES[word])
    assert pattern.shape.low < shape < pattern.shape.high


def test_four_failures_have_no_word():
    pattern = pattern_of(fit(observed([1, 2, 3, 4, 5], [1, 1, 1, 1, 0])))
    assert (pattern.word, pattern.shape) == ("too-few", None)


def test_ages_typed_alike_are_no_wear_out():
    ages = [1000, 1010, 1020, 1030, 1040, 1050]
    assert pattern_of(fit(observed(ages, np.ones(6)))).word == "cannot-tell"
