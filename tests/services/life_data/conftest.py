"""One seeded source of chance for all tests here."""

import numpy as np
import pytest


@pytest.fixture
def rng() -> np.random.Generator:
    """The same numbers each time."""
    return np.random.default_rng(20261126)
