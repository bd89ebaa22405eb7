"""The demo's two bulletins: one nearly done, one about a hazard just released; their days move with today."""

from datetime import timedelta

import pytest
from django.utils import timezone

from tests import factories as make
from tracker.management.demo_bulletins import STORIES, make_bulletins
from tracker.management.progress import Bar
from tracker.models import Bulletin, BulletinNotice
from tracker.queries.bulletins import progress
from tracker.queries.due import rebuild_differences


@pytest.fixture
def pieces(db) -> None:
    """The people of the demo, and as many pieces of each batch as its story moves, and two more, each on a trike."""
    for name in ("reviewer", "admin", "mechanic"):
        make.UserFactory(username=name)
    for story, kind, position in zip(STORIES, ("display", "brake"), ("display", "brake-left"), strict=True):
        part_type = make.PartTypeFactory(kind=kind, part_number=story.part_number, rated={})
        for _ in range(sum(many for _, many, _ in story.moves) + 2):
            trike = make.OwnershipFactory().trike
            piece = make.ComponentFactory(part_type=part_type, batch=story.batches[0], state="fitted")
            make.FitmentFactory(component=piece, trike=trike, position=position)


def test_one_is_nearly_done_and_one_is_just_released_with_its_letters_waiting(pieces, capsys):
    now = timezone.now()
    make_bulletins(now, Bar("Bulletins"))
    done, begun = Bulletin.objects.order_by("pk")
    told = progress([done.pk, begun.pk])
    assert told[done.pk].completion > 0.8
    assert (told[begun.pk].completion, told[begun.pk].states["booked"]) == (0.0, 3)
    assert (now - done.released_at, now - begun.released_at) == (timedelta(days=150), timedelta(0))
    assert begun.deadline_on > now.date()
    assert BulletinNotice.objects.filter(bulletin=begun).count() == begun.parts.count()
    assert rebuild_differences() == []
