"""What a bulletin that is open stands in the way of: fitting a part, swapping it in, handing the trike over."""

from datetime import date

import pytest

from tests import factories as make
from tests.bulletins.conftest import NOW, danger, released, says
from tracker.actions.bulletin_stops import OpenBulletins, OpenStopBulletin
from tracker.actions.bulletins import move_part
from tracker.actions.fitments import fit_component
from tracker.actions.handovers import hand_over
from tracker.actions.swaps import plan_swap, swap_in
from tracker.models import BulletinPart, Fitment, Handover, LogEntry, Swap


@pytest.fixture
def piece(shock):
    return make.ComponentFactory(part_type=shock, serial="S1", batch="K-17")


@pytest.fixture
def trike(db):
    return make.TrikeFactory(state="in_build", delivered_on=None)


def fit(trike, piece):
    return fit_component(trike_id=trike.pk, position="rear-shock", component_id=piece.pk, at=NOW, now=NOW)


def test_a_part_that_says_stop_riding_goes_onto_no_trike(trike, piece, shock, writer, second):
    row = released(danger(shock), writer, second)
    with pytest.raises(OpenStopBulletin) as refusal:
        fit(trike, piece)
    assert refusal.value.facts["bulletin"] == row.number
    assert not Fitment.objects.exists()


def test_once_it_is_put_right_it_does(trike, piece, shock, writer, second):
    row = released(danger(shock), writer, second)
    move_part(part_id=BulletinPart.objects.get(bulletin=row).pk, state="corrected", by=second, now=NOW)
    assert fit(trike, piece).component == piece


def test_other_bulletins_do_not_keep_a_part_off(trike, piece, shock, writer, second):
    released(danger(shock, severity="mandatory"), writer, second)
    assert fit(trike, piece).component == piece


@pytest.mark.parametrize("plan", [swap_in, plan_swap])
def test_nor_is_it_swapped_in_on_a_job_card(plan, piece, shock, writer, second):
    released(danger(shock), writer, second)
    card = make.JobCardFactory()
    with pytest.raises(OpenStopBulletin):
        plan(card_id=card.pk, position="rear-shock", new_serial="S1", by=second, now=NOW)
    assert not Swap.objects.exists()


def give(trike, **more) -> Handover:
    return hand_over(
        trike_id=trike.pk, owner_id=make.OwnerFactory().pk, handed_over_on=date(2026, 5, 1), reading_km=3.0,
        checks=(("Brakes hold", True, ""),), built_by=make.UserFactory(), now=NOW, **more,
    )  # fmt: skip


def test_a_handover_with_open_bulletins_is_asked_and_then_stands_in_the_logbook(trike, piece, shock, writer, second):
    fit(trike, piece)
    row = released(says(shock), writer, second)
    with pytest.raises(OpenBulletins) as question:
        give(trike)
    assert question.value.facts["bulletins"] == [row.number]
    assert not Handover.objects.exists()
    give(trike, with_bulletins=True)
    assert LogEntry.objects.get(kind="handover_built").body["bulletins"] == [row.number]


def test_what_says_stop_riding_is_not_handed_over_whatever_is_said(trike, piece, shock, writer, second):
    fit(trike, piece)
    released(danger(shock), writer, second)
    with pytest.raises(OpenStopBulletin):
        give(trike, with_bulletins=True)


def test_information_asks_nobody(trike, piece, shock, writer, second):
    fit(trike, piece)
    released(says(shock, severity="information"), writer, second)
    assert give(trike).trike == trike
