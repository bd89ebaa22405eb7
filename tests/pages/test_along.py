"""Smaller tasks that come with a larger service: folded under it, counted once, done when it is."""

import pytest

from tests import factories as make
from tests.pages.conftest import Workshop


@pytest.fixture
def serviced(workshop) -> Workshop:
    """A card with a general service, which includes the chain check that stands on it too."""
    frame = workshop.trike.fitments.get(position="frame").component
    make.JobTaskFactory(card=workshop.card, component=frame, task="general_service")
    return workshop


def shown(client, workshop: Workshop, step: str) -> str:
    return client.get(f"/jobs/{workshop.card.pk}/{step}/").content.decode()


def test_a_smaller_task_stands_folded_under_the_larger_one(serviced, mechanic):
    page = shown(mechanic, serviced, "bench")
    assert page.index("Comes with General service") > page.index("Done with it:")
    assert page.count("along-fold") == 1


def test_its_minutes_count_once(serviced, mechanic):
    page = shown(mechanic, serviced, "tasks")
    assert "about 90 minutes" in page
    assert "comes with General service" in page


def test_it_is_done_when_the_larger_one_is(serviced, mechanic):
    serviced.card.tasks.filter(task="general_service").update(outcome="done")
    page = shown(mechanic, serviced, "bench")
    assert "done with it" in page
    assert "to do" not in page
    assert "Go on to the findings" in page
    assert "Left open" not in shown(mechanic, serviced, "sign")


def test_without_the_larger_one_it_stands_alone(workshop, mechanic):
    assert "along-fold" not in shown(mechanic, workshop, "bench")
