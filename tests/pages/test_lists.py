"""Lists: what they show, their filters, and that rows cost no queries."""

from datetime import date

import pytest

from tests import factories as make
from tests.pages.conftest import carry, due


def grow_fleet(count: int) -> None:
    """Add trikes with everything a row of any list shows."""
    for _ in range(count):
        trike = make.TrikeFactory()
        owner = make.OwnerFactory()
        make.OwnershipFactory(trike=trike, owner=owner)
        part = carry(trike, "chain", "chain", f"G-{trike.frame_serial}")
        due(trike, part, due_on=date(2026, 5, 2), early_on=date(2026, 4, 20))
        make.OdometerReadingFactory(
            trike=trike,
            verdict="suspect",
            reason="In doubt.",
            entered_by=make.UserFactory(),
            decided_by=make.UserFactory(),
        )
        make.JobCardFactory(trike=trike)
        make.OutboxMessageFactory(trike=trike, owner=owner, state="failed")
        make.ImportBatchFactory(uploaded_by=make.UserFactory(), state="checked")


@pytest.mark.parametrize(
    "address",
    [
        "/", "/due/", "/trikes/", "/components/", "/owners/", "/part-types/", "/jobs/", "/readings/",
        "/readings/?verdict=suspect", "/messages/", "/imports/", "/search/?q=F0",
    ],
)  # fmt: skip
def test_a_list_costs_the_same_queries_for_2_rows_and_22(address, admin, workshop, assert_flat_queries):
    grow_fleet(2)
    assert_flat_queries(lambda: admin.get(address), lambda: grow_fleet(20))


def test_intervals_cost_the_same_queries_for_2_rows_and_22(admin, db, assert_flat_queries):
    def grow() -> None:
        for _ in range(20):
            make.ServiceIntervalFactory(part_type=make.PartTypeFactory())

    make.ServiceIntervalFactory.create_batch(1)
    make.ServiceIntervalFactory(part_type=make.PartTypeFactory())
    assert_flat_queries(lambda: admin.get("/intervals/"), grow)


@pytest.fixture
def three_due(workshop) -> None:
    other = make.TrikeFactory(frame_serial="F-OTHER")
    chain = carry(other, "chain", "chain", "K555")
    due(workshop.trike, workshop.chain, due_on=date(2026, 4, 20), early_on=date(2026, 4, 6), safety=True)
    due(workshop.trike, workshop.shock, due_on=date(2026, 5, 3), early_on=date(2026, 4, 20), task="shock_air_check")
    due(other, chain, due_on=date(2026, 5, 25), early_on=date(2026, 5, 11))


def shown(client, query: str) -> list[str]:
    return [row.line.due_on.isoformat() for row in client.get(f"/due/{query}").context["rows"]]


@pytest.mark.parametrize(
    ("query", "days"),
    [
        ("", ["2026-04-20", "2026-05-03", "2026-05-25"]),
        ("?window=overdue", ["2026-04-20"]),
        ("?window=week", ["2026-05-03"]),
        ("?window=month", ["2026-05-03", "2026-05-25"]),
        ("?safety=yes", ["2026-04-20"]),
        ("?task=shock_air_check", ["2026-05-03"]),
        ("?q=angstrom", ["2026-04-20", "2026-05-03"]),
        ("?q=f-other", ["2026-05-25"]),
        ("?window=nonsense&page=nonsense", ["2026-04-20", "2026-05-03", "2026-05-25"]),
    ],
)
def test_the_due_list_is_soonest_first_and_filters(query, days, three_due, desk):
    assert shown(desk, query) == days


def test_a_due_line_is_told_by_a_word_a_shape_and_a_reason(three_due, desk):
    page = desk.get("/due/?window=overdue").content.decode()
    assert '<span class="status overdue">Overdue</span>' in page
    assert "Chain check: every 1,500 km or 6 months." in page


def test_the_due_list_says_how_it_reckons_distance(three_due, desk):
    assert "as likely too early as too late" in desk.get("/due/").content.decode()


def test_a_long_list_comes_in_pages_of_fifty(desk, db):
    make.TrikeFactory.create_batch(51)
    first, second = desk.get("/trikes/"), desk.get("/trikes/?page=2")
    assert (len(first.context["page"]), len(second.context["page"])) == (50, 1)
    assert "?page=2" in first.content.decode()


def test_components_are_narrowed_by_kind_state_and_batch(desk, workshop):
    make.ComponentFactory(serial="B1", part_type__kind="battery", state="quarantined", batch="Q-7")
    found = desk.get("/components/?kind=battery&state=quarantined&batch=q-7").context["page"]
    assert [row.serial for row in found] == ["B1"]


def test_today_counts_what_needs_somebody(three_due, workshop, desk):
    make.OdometerReadingFactory(trike=workshop.trike, verdict="suspect")
    make.OutboxMessageFactory(trike=workshop.trike, state="unknown")
    make.ComponentFactory(part_type__kind="battery", state="quarantined")
    make.AppointmentFactory(trike=workshop.trike)
    out = make.BulletinFactory(
        is_hazard=True, state="released", released_by=make.UserFactory(), released_at=make.NOW, number="B-2025-001"
    )
    make.BulletinPartFactory(component=workshop.chain, bulletin=out)
    make.BulletinPartFactory(component=workshop.shock, bulletin=out, state="corrected")
    counts = {words: count for _, count, words, _, _ in desk.get("/").context["board"]}
    assert counts == {
        "overdue": 1, "due this week": 1, "readings in doubt": 1, "job cards open": 1, "mails failed": 0,
        "days asked for": 1, "mails: sent or not?": 1, "addresses do not work": 0, "imports waiting": 0,
        "batteries in quarantine": 1, "safety parts under bulletins": 1,
    }  # fmt: skip


def test_today_says_when_the_sweep_is_late(desk, db):
    assert "has never run" in desk.get("/").content.decode()
    make.SweepRunFactory()
    assert 'class="status good">ran' in desk.get("/").content.decode()


def test_today_offers_the_choices_of_a_doubtful_reading_at_once(workshop, desk):
    offered = [{"code": "miles", "km": 3218, "words": "it was miles"}]
    make.OdometerReadingFactory(trike=workshop.trike, verdict="suspect", reason="Below the last.", proposals=offered)
    page = desk.get("/").content.decode()
    assert 'name="choice" value="miles"' in page
    assert "Below the last." in page
