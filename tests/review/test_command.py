"""`manage.py review`: reckons here and says what stands out."""

from io import StringIO

import pytest
from django.core.management import call_command

from tests.factories import NOW
from tests.simulator.failing import BAD_BATCH, failing_fleet
from tests.simulator.failing_rows import write_rows

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def standing_clock(time_machine):
    time_machine.move_to(NOW, tick=False)


def said() -> str:
    out = StringIO()
    call_command("review", stdout=out)
    return out.getvalue()


def test_it_names_what_is_to_be_done_and_what_it_rests_on():
    write_rows(failing_fleet(108, trikes=240, plants=(BAD_BATCH,), kinds=("air_shock",)))
    told = said().splitlines()
    assert told[0].startswith("2 part types, ")
    assert told[0].endswith("; 4 reckoned anew.")
    assert [line for line in told[1:] if f"batch {BAD_BATCH.batch}" in line and line.startswith("1. ")]


def test_a_record_without_failures_has_nothing_to_say():
    write_rows(failing_fleet(1, trikes=5, kinds=("idler",)))
    assert len(said().splitlines()) == 1
