from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from tests import factories
from tests.reminders.conftest import DUE, some_task, trike_with
from tracker.actions.reminders import sweep_trikes
from tracker.actions.usage import record_reading
from tracker.management.progress import Bar
from tracker.models import DueLine, LogEntry, OutboxMessage, SweepRun, guards

pytestmark = pytest.mark.django_db


def said(command: str, *options: str) -> str:
    out = StringIO()
    call_command(command, *options, stdout=out, stderr=StringIO())
    return out.getvalue()


def refused(command: str, *options: str) -> tuple[int, str, str]:
    """Return the exit code, the last word and what was said before it."""
    out = StringIO()
    with pytest.raises(CommandError) as error:
        call_command(command, *options, stdout=out, stderr=StringIO())
    return error.value.returncode, str(error.value), out.getvalue()


@pytest.fixture
def logbook():
    """A trike with three entries in its logbook."""
    trike = factories.OwnershipFactory().trike
    for km in (100, 200, 300):
        record_reading(trike_id=trike.pk, value=km, read_at=DUE, now=DUE)
    return trike


def change_behind_the_back(sql: str, *values) -> None:
    """What somebody with the database in hand could do: take the guards down, change, put them up."""
    connection.check_constraints()  # PostgreSQL alters no table while checks of its rows are still to come
    guarded = _guards_stand()
    if guarded:
        guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
    if guarded:
        guards.put_up(connection)


def _guards_stand() -> bool:
    sqlite = connection.vendor == "sqlite"
    table = "sqlite_master WHERE type = 'trigger' AND name" if sqlite else "pg_trigger WHERE tgname"
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT COUNT(*) FROM {table} LIKE 'guard_%%'", [])
        return bool(cursor.fetchone()[0])


def test_a_logbook_that_holds_is_counted(logbook):
    assert said("verify_logbook") == "All hold: 3 entries of 1 trikes.\n"


def test_an_empty_logbook_holds():
    assert said("verify_logbook").startswith("All hold: 0 entries")


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE tracker_logentry SET kind = 'other' WHERE seq = 2 AND trike_id = %s",
        "DELETE FROM tracker_logentry WHERE seq = 2 AND trike_id = %s",
    ],
    ids=["changed", "removed"],
)
def test_the_first_entry_that_was_changed_or_removed_is_named(logbook, sql):
    change_behind_the_back(sql, logbook.pk)
    code, words, before = refused("verify_logbook")
    assert (code, words) == (1, "The logbooks of 1 trikes do not hold.")
    assert before.startswith(f"Trike {logbook.frame_serial}: entry ")
    assert LogEntry.objects.count() in {2, 3}


@pytest.fixture
def due_trike():
    trike = trike_with(some_task())
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return trike


def test_a_due_list_that_agrees_is_left_alone(due_trike):
    assert said("rebuild_due") == "No difference.\n"


def test_a_wrong_due_line_is_named_and_put_right_only_when_asked(due_trike):
    DueLine.objects.update(due_on=date(2030, 1, 1))
    line = DueLine.objects.get()
    code, _, before = refused("rebuild_due")
    assert (code, before) == (1, f"changed: {line.task} on {line.component}\n")
    assert DueLine.objects.get().due_on == date(2030, 1, 1)
    assert said("rebuild_due", "--fix").endswith("1 due lines put right.\n")
    assert said("rebuild_due") == "No difference.\n"


def test_putting_the_due_list_right_writes_no_message(due_trike):
    DueLine.objects.all().delete()
    OutboxMessage.objects.all().delete()
    said("rebuild_due", "--fix")
    assert OutboxMessage.objects.count() == 0


def test_many_differences_are_shown_in_part(due_trike):
    for _ in range(25):
        trike_with(some_task())
    _, words, before = refused("rebuild_due")
    assert before.endswith("... and 5 more\n")
    assert words.startswith("25 due lines differ")


def test_the_sweep_says_what_came_of_it():
    trike_with(some_task())
    assert said("sweep", "--all").startswith("1 trikes, ")
    assert SweepRun.objects.get().finished_at is not None


class Terminal(StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal_the_bar_fills_in_one_line():
    screen = Terminal()
    bar = Bar("Files", screen)
    bar(1, 2)
    bar.end("all in")
    assert "\n" not in screen.getvalue().removesuffix("\n")
    assert "[############............] 1/2" in screen.getvalue()


def test_without_a_terminal_the_bar_is_a_few_plain_lines():
    page = StringIO()
    bar = Bar("Files", page)
    for done in range(101):
        bar(done, 100)
    bar.end()
    assert len(page.getvalue().splitlines()) == 6
    assert "\r" not in page.getvalue()


def test_a_bar_over_nothing_does_not_divide_by_it():
    page = StringIO()
    Bar("Files", page)(0, 0)
    assert page.getvalue() == "Files: 0 of 0\n"
