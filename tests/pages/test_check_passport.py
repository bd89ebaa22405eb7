"""The code of a passport at the desk and on the command line: what it answers, what it refuses, and what it says of attacks."""

from datetime import UTC, datetime
from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from services.chain_code import chain_code
from tests import factories as make
from tests.pages.conftest import logged_in
from tracker.actions.steps import draft_of, write_logs
from tracker.models import LogEntry, guards

NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)


@pytest.fixture
def trike(db):
    """A trike with five entries in its logbook."""
    row = make.TrikeFactory(frame_serial="F26-1040")
    more(row, 5)
    return row


def more(trike, count: int) -> None:
    for number in range(count):
        write_logs([draft_of(trike.pk, "note", NOW, None, "desk", {"told": number})], NOW)


def head_code(trike) -> str:
    last = LogEntry.objects.filter(trike=trike).first()
    return chain_code(trike.pk, last.seq, last.hash)


def asked(client, code: str):
    return client.get("/passport/", {"code": code})


def tamper(sql: str, *values) -> None:
    """Change the logbook as somebody with the database's password can: the guards taken down first."""
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
    guards.put_up(connection)


def test_the_page_asks_for_a_code(desk, db):
    page = desk.get("/passport/").content.decode()
    assert 'name="code"' in page
    assert 'id="answer"' not in page


@pytest.mark.parametrize(
    "typed", [str, str.lower, lambda code: code.replace("-", ""), lambda code: code.replace("0", "O")]
)
def test_a_true_code_names_its_trike_and_entry_however_it_is_typed(trike, desk, typed):
    page = asked(desk, typed(head_code(trike))).content.decode()
    assert "This passport belongs to trike F26-1040 and was printed at entry 5." in page
    assert "The chain from entry 1 to 5 is whole, and entry 5 has the hash that was printed." in page
    assert "No entry has followed since." in page


def test_a_scanned_address_is_as_good_as_the_code(trike, desk):
    address = f"https://desk.example.org/passport/?code={head_code(trike)}"
    assert asked(desk, address).context["answer"].fits


@pytest.mark.parametrize(
    ("count", "words"), [(1, "One entry has followed since."), (12, "12 entries have followed since.")]
)
def test_what_followed_since_is_counted(trike, desk, count, words):
    code = head_code(trike)
    more(trike, count)
    assert words in asked(desk, code).content.decode()


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("", "This field is required."),
        ("F26-1040", "this has 7"),
        ("0000-0000-0000-0000-0000-000!", "No code holds &#x27;!&#x27;"),
        ("0000-1005-KQQQ-QQQQ-QQQQ-QQQQ", "The code was not typed as it was printed."),
        ("<script>alert(1)</script>", "No code holds &#x27;&lt;&#x27;"),
        ("x" * 500, "at most 400 characters"),
    ],
)
def test_what_is_no_code_is_refused_beside_the_field_and_stays_typed(trike, desk, typed, told):
    answer = asked(desk, typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert told in page
    assert "<script>alert" not in page
    assert answer.context["form"]["code"].value() == typed


def test_one_wrong_letter_is_told_with_the_group_to_look_at(trike, desk):
    code = head_code(trike)
    wrong = code[:10] + ("7" if code[10] != "7" else "8") + code[11:]
    assert "Look at the third group." in asked(desk, wrong).content.decode()


def test_a_code_from_another_record_does_not_fit(trike, desk):
    page = asked(desk, chain_code(trike.pk + 999, 5, "ab" * 32)).content.decode()
    assert "This does not fit. No trike on record here" in page


def test_a_forged_hash_does_not_fit(trike, desk):
    page = asked(desk, chain_code(trike.pk, 5, "ab" * 32)).content.decode()
    assert "its entry 5 is not the printed one" in page
    assert "do not trust this paper" in page


@pytest.mark.parametrize("seq", [0, 6, 99])
def test_an_entry_that_is_not_there_does_not_fit(trike, desk, seq):
    last = LogEntry.objects.filter(trike=trike).first()
    assert "whose logbook ends at entry" in asked(desk, chain_code(trike.pk, seq, last.hash)).content.decode()


def test_entries_cut_off_after_printing_are_noticed(trike, desk):
    code = head_code(trike)
    tamper("DELETE FROM tracker_logentry WHERE trike_id = %s AND seq >= 4", trike.pk)
    assert "entries were removed since" in asked(desk, code).content.decode()


def test_an_entry_edited_after_printing_is_named(trike, desk):
    code = head_code(trike)
    tamper("UPDATE tracker_logentry SET kind = 'other' WHERE trike_id = %s AND seq = 2", trike.pk)
    page = asked(desk, code).content.decode()
    assert "entry 2: its content was changed after it was written" in page


def test_a_chain_rewritten_whole_is_noticed_by_the_printed_code(trike, desk):
    code = head_code(trike)
    tamper("DELETE FROM tracker_logentry WHERE trike_id = %s", trike.pk)
    for number in range(5):
        write_logs([draft_of(trike.pk, "note", NOW, None, "desk", {"told": number * 2})], NOW)
    answer = asked(desk, code).context["answer"]
    assert (answer.fits, "rewritten since" in answer.why) == (False, True)


def test_a_break_after_the_printed_entry_leaves_what_was_printed_standing(trike, desk):
    code = head_code(trike)
    more(trike, 3)
    tamper("UPDATE tracker_logentry SET kind = 'other' WHERE trike_id = %s AND seq = 7", trike.pk)
    answer = asked(desk, code)
    assert answer.context["answer"].fits
    assert "Entry 7, written after it, does not hold" in answer.content.decode()


def test_a_stolen_trike_is_shown_as_such(trike, desk):
    trike.stolen_on = NOW.date()
    trike.save()
    assert "reported stolen" in asked(desk, head_code(trike)).content.decode()


@pytest.mark.parametrize("role", ["desk", "mechanic", "reviewer", "admin"])
def test_all_staff_may_check_a_code(trike, role):
    assert asked(logged_in(role, f"checker-{role}"), head_code(trike)).status_code == 200


def test_nobody_else_may(trike, client):
    assert asked(client, head_code(trike)).status_code == 302
    assert asked(logged_in("", "stranger"), head_code(trike)).status_code == 404


def test_a_long_chain_costs_no_more_queries(trike, desk, assert_flat_queries):
    code = head_code(trike)
    assert_flat_queries(lambda: asked(desk, code), lambda: more(trike, 20))


def verify(code: str) -> str:
    out = StringIO()
    call_command("verify_logbook", code=code, stdout=out)
    return out.getvalue()


def test_the_command_answers_the_same(trike):
    assert "This passport belongs to trike F26-1040 and was printed at entry 5." in verify(head_code(trike).lower())


@pytest.mark.parametrize(("code", "status"), [("nonsense", 2), ("", 2)])
def test_the_command_refuses_what_is_no_code_with_a_status_of_its_own(trike, code, status):
    with pytest.raises(CommandError) as refusal:
        verify(code)
    assert refusal.value.returncode == status


def test_the_command_ends_with_one_where_the_code_does_not_fit(trike):
    with pytest.raises(CommandError) as refusal:
        verify(chain_code(trike.pk, 5, "ab" * 32))
    assert refusal.value.returncode == 1


def test_the_command_ends_with_one_where_the_chain_breaks_later(trike):
    code = head_code(trike)
    more(trike, 1)
    tamper("UPDATE tracker_logentry SET kind = 'other' WHERE trike_id = %s AND seq = 6", trike.pk)
    with pytest.raises(CommandError, match="Entry 6, written after it"):
        verify(code)
