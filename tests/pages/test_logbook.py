"""The logbook at the desk: verified by one button, and one component's own across trikes."""

import hashlib
from datetime import UTC, datetime, timedelta

import pytest

from services.chain_code import chain_code
from tests import factories as make
from tests.commands.test_checks import change_behind_the_back
from tests.pages.conftest import ROLES, logged_in, person
from tracker.actions.fitments import fit_component, remove_component
from tracker.actions.usage import record_reading
from tracker.models import LogEntry
from tracker.queries.log_check import check_logbook

NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
ADDRESS = "/logbook/verify/"


def write(trike, count: int, by=None) -> None:
    """Entries in the logbook of `trike`, as the workshop makes them."""
    for number in range(count):
        at = NOW - timedelta(days=20 - number)
        record_reading(trike_id=trike.pk, value=2100 + 10 * number, read_at=at, now=NOW, by=by)


@pytest.fixture
def book(workshop):
    """Two trikes with a logbook each."""
    other = make.TrikeFactory(frame_serial="F26-2000")
    write(workshop.trike, 3)
    write(other, 2)
    return workshop.trike


def told(answer) -> str:
    return " ".join(answer.content.decode().split())


def test_a_record_that_holds_is_told_with_its_counts(book, desk):
    page = told(desk.post(ADDRESS))
    assert '<span class="status good">It holds</span>' in page
    assert "5 entries of 2 trikes read" in page


def test_one_trike_is_verified_with_its_last_code(book, desk):
    page = told(desk.post(ADDRESS, {"trike": " f26-1040 "}))
    assert "3 entries of 1 trike read" in page
    assert chain_code(book.pk, 3, LogEntry.objects.get(trike=book, seq=3).hash) in page
    assert 'href="/passport/"' in page


def test_the_first_break_is_named_with_its_entry(book, desk):
    change_behind_the_back(
        "UPDATE tracker_logentry SET body = '{\"value\": 1}' WHERE seq = 2 AND trike_id = %s", book.pk
    )
    answer = desk.post(ADDRESS)
    page = told(answer)
    assert '<span class="status bad">It does not hold</span>' in page
    assert "at entry 2: its content was changed after it was written." in page
    assert f"/trikes/{book.pk}/?log=all#entry-2" in page
    assert [row.trike for row in answer.context["check"].broken] == [book]


def test_an_entry_that_was_taken_out_is_named(book, desk):
    change_behind_the_back("DELETE FROM tracker_logentry WHERE seq = 1 AND trike_id = %s", book.pk)
    assert "at entry 2: entry 1 is missing." in told(desk.post(ADDRESS, {"trike": "F26-1040"}))


def test_the_page_says_what_it_does_not_prove(book, desk):
    page = told(desk.get(ADDRESS))
    for words in ("who wrote an entry", "rewrite the whole chain", "cut off the end"):
        assert words in page


def test_looking_at_the_page_verifies_nothing(book, desk):
    assert "check" not in desk.get(f"{ADDRESS}?trike=F26-1040").context


def test_the_trike_of_the_address_is_filled_in(book, desk):
    assert 'value="F26-1040"' in desk.get(f"{ADDRESS}?trike=F26-1040").content.decode()


@pytest.mark.parametrize(
    ("typed", "said"),
    [("F99-0000", "No trike has the frame serial F99-0000"), ("F\u200b1", "cannot be seen"), ("X" * 61, "at most 60")],
)
def test_an_unknown_serial_is_refused_beside_the_field_and_kept(typed, said, book, desk):
    answer = desk.post(ADDRESS, {"trike": typed})
    assert answer.status_code == 422
    assert said in answer.context["form"].errors["trike"][0]
    assert f'value="{typed}"' in answer.content.decode()


@pytest.mark.parametrize("after", ["x", "-1", str(2**70)])
def test_a_portion_that_makes_no_sense_is_refused(after, book, desk):
    assert desk.post(ADDRESS, {"after": after}).status_code == 422


@pytest.mark.parametrize("role", ROLES)
def test_whoever_may_read_may_verify(role, book):
    assert "It holds" in told(logged_in(role).post(ADDRESS))


def test_who_may_not_read_finds_no_button(book):
    assert logged_in("").post(ADDRESS).status_code == 404


def test_an_empty_record_is_not_called_whole(desk, db):
    assert "Nothing is written yet" in told(desk.post(ADDRESS))


def test_a_long_record_is_read_in_portions_between_trikes(book):
    first = check_logbook(most=2)
    assert (first.entries, first.trikes, first.go_on_after) == (3, 1, book.pk)
    rest = check_logbook(after=first.go_on_after, most=2)
    assert (rest.entries, rest.trikes, rest.go_on_after) == (2, 1, None)


def test_verifying_costs_the_same_queries_for_2_trikes_and_22(book, desk, assert_flat_queries):
    def grow() -> None:
        for _ in range(20):
            write(make.TrikeFactory(), 2)

    assert_flat_queries(lambda: desk.post(ADDRESS), grow)


# One component's own


@pytest.fixture
def travelled(workshop):
    """A shock that sat on one trike and sits on another."""
    by = person("mechanic", "mika")
    other = make.TrikeFactory(frame_serial="F26-2000")
    make.OdometerReadingFactory(trike=other, value=900)
    remove_component(
        fitment_id=workshop.shock.fitments.get().pk, at=NOW - timedelta(days=30), fate="in_stock",
        reason="creaks <again>", now=NOW, by=by,
    )  # fmt: skip
    fit_component(
        component_id=workshop.shock.pk, trike_id=other.pk, position="rear-shock", at=NOW - timedelta(days=20),
        now=NOW, by=by,
    )  # fmt: skip
    return workshop.shock


def rows(client, component, query: str = "") -> list[dict]:
    return client.get(f"/components/{component.pk}/log/{query}").context["rows"]


def test_a_component_has_one_logbook_across_trikes_oldest_first(travelled, desk):
    found = rows(desk, travelled)
    assert [(row["entry"].kind, row["entry"].trike.frame_serial) for row in found] == [
        ("removed", "F26-1040"), ("fitted", "F26-2000"),
    ]  # fmt: skip


def test_each_entry_carries_the_life_of_that_moment(travelled, desk):
    removed, fitted = rows(desk, travelled)
    assert removed["life"].km == pytest.approx(2000.0)  # it came with the trike and left on the day of its last reading
    assert fitted["life"].km == removed["life"].km


def test_an_entry_says_who_wrote_it_from_which_login(travelled, desk):
    page = told(desk.get(f"/components/{travelled.pk}/log/"))
    name = travelled.log_entries.first().actor.display_name
    assert f'{name} <span class="nowrap">(login <span class="serial">mika</span>)</span>' in page


def test_what_was_typed_is_escaped(travelled, desk):
    page = desk.get(f"/components/{travelled.pk}/log/").content.decode()
    assert "creaks &lt;again&gt;" in page
    assert "<again>" not in page


def test_entries_of_one_kind(travelled, desk):
    assert [row["entry"].kind for row in rows(desk, travelled, "?kind=fitted")] == ["fitted"]
    assert len(rows(desk, travelled, "?kind=%3Cscript%3E")) == 2


def test_the_component_page_leads_to_it(travelled, desk):
    assert f'href="/components/{travelled.pk}/log/"' in desk.get(f"/components/{travelled.pk}/").content.decode()


def test_a_scrapped_piece_tells_of_its_end(travelled, desk):
    fitment = travelled.fitments.get(removed_at=None)
    remove_component(fitment_id=fitment.pk, at=NOW, fate="scrapped", reason="cracked", now=NOW)
    page = told(desk.get(f"/components/{travelled.pk}/log/"))
    assert "from birth to scrap" in page
    assert "since 1 May 2026: cracked" in page


def test_a_piece_that_was_never_fitted_has_nothing_to_tell(desk, db):
    page = told(desk.get(f"/components/{make.ComponentFactory().pk}/log/"))
    assert "it was never fitted" in page


def test_a_component_that_does_not_exist_has_no_logbook(desk, db):
    assert desk.get("/components/999999/log/").status_code == 404


def test_a_components_logbook_costs_the_same_queries_for_2_entries_and_22(travelled, desk, assert_flat_queries):
    def grow() -> None:
        for number in range(20):
            make.LogEntryFactory(
                trike=travelled.fitments.last().trike, component=travelled, seq=100 + number, actor=make.UserFactory(),
                hash=hashlib.sha256(b"%d" % number).hexdigest(),
            )  # fmt: skip

    assert_flat_queries(lambda: desk.get(f"/components/{travelled.pk}/log/"), grow)
