"""Every test and command that stands for a promise is there."""

import re
from pathlib import Path

import pytest
from django.conf import settings

from tests.scores.__main__ import BY_NAME, WORDS
from tests.scores.promises import PROMISES

ROOT = Path(settings.BASE_DIR)


@pytest.mark.parametrize("promise", PROMISES, ids=lambda promise: promise.goal)
def test_what_shows_a_promise_is_there(promise):
    for place in (promise.short, promise.long):
        for file, name in re.findall(r"(tests/[\w/]+\.py)(?:::(\w+))?", place):
            assert f"def {name}" in (ROOT / file).read_text(), place
        for word in re.findall(r"tests\.scores (\w+)", place):
            assert word in WORDS + BY_NAME
    if promise.short.startswith(".ci/run: "):
        assert promise.short.removeprefix(".ci/run: ") in (ROOT / ".ci" / "run").read_text()


def test_all_promises_about_reminders_are_listed():
    assert [promise.goal for promise in PROMISES] == [f"R{n}" for n in (1, 2, 3, 4, 5, 6, 16, 17, 18, 19, 20, 27)]
