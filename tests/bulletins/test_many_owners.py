"""Goal R17 in its short form: a safety notice to a hundred owners, with the real background work and a real mail server.

Whoever said stop is written to, whoever sleeps as well; whom mail cannot reach is on the list of those to be rung. The long
form, a thousand owners against the clock: `python -m tests.scores safety`.
"""

import pytest

from tests.scores.safety import Figures, released_to

OWNERS = 100


@pytest.fixture(scope="module")
def found(tmp_path_factory) -> Figures:
    """What came of one release."""
    return released_to(OWNERS, tmp_path_factory.mktemp("safety"))


def test_every_owner_with_an_address_is_written_to_once(found):
    print(f"{found.attempted} of {found.with_address} within {found.seconds:.0f} s")
    assert (found.with_address, found.attempted, found.repeats) == (99, 99, 0)
    assert found.books["open"] == 0


def test_who_said_stop_and_who_sleeps_is_told_at_once(found):
    """Regulation (EU) 2023/988, Article 35: all affected consumers, directly and without undue delay."""
    assert found.books["stopped_told"] == found.books["stopped"] > 25
    assert found.books["asleep_told"] == found.books["asleep"] > 15


def test_whom_mail_does_not_reach_is_to_be_rung_and_nobody_else(found):
    assert len(found.books["to_ring"]) == 6
    assert found.unlisted == 0


def test_nobody_releases_a_hazard_alone(found):
    assert found.alone == 0
