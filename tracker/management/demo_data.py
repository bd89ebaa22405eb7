"""What the demo puts into an empty record: roles, five logins, the intervals and a year of an invented workshop."""

import csv
from collections.abc import Callable
from datetime import date, datetime

from django.conf import settings
from django.core.management import call_command

from tracker.actions.build_lists import build_list_from_trikes
from tracker.actions.imports import Report, bring_in
from tracker.actions.learning import keep_numbers
from tracker.actions.people import add_person, set_up_roles
from tracker.actions.reminders import run_sweep
from tracker.actions.review import ask_for_review, begin_review, keep_review
from tracker.actions.schedule import load_default_intervals
from tracker.management.demo_bulletins import make_bulletins
from tracker.management.demo_note import LOGINS
from tracker.management.progress import Bar
from tracker.models import User
from tracker.queries.build_lists import delivered_of_model, models_without_a_list
from tracker.queries.clock import local_date
from tracker.queries.learning import learn
from tracker.queries.review import findings
from tracker.queries.review_reckoning import reckon

FIXTURES = settings.BASE_DIR / "fixtures"
INTERVALS = FIXTURES / "intervals.csv"
ANCHOR = FIXTURES / "anchor.txt"  # the day on which the files were written
FILES = FIXTURES


class DemoBroken(Exception):
    """The demo cannot be filled."""


class DemoFilesMissing(DemoBroken):
    """The files of the demo are not where they belong."""


class DemoFileRefused(DemoBroken):
    """A file of the demo does not pass the import's own checks."""


def load(now: datetime, tell: Callable[[str], Bar] = Bar) -> None:
    """Fill the empty record. The dates in the files move with today's date, so that work is always due."""
    bar = tell("Database")
    call_command("migrate", verbosity=0, interactive=False)
    call_command("createcachetable", verbosity=0)
    bar.end()
    bar = tell("Roles and logins")
    set_up_roles()
    for step, (username, name, role, password) in enumerate(LOGINS, start=1):
        add_person(username=username, display_name=name, role=role, password=password)
        bar(step, len(LOGINS))
    bar.end()
    with INTERVALS.open(encoding="utf-8", newline="") as lines:
        load_default_intervals(rows=list(csv.DictReader(lines)), now=now)
    bring_in_files(now, tell("Workshop's files"))
    make_build_lists(now, tell("Build lists"))
    bar = tell("What the fleet teaches")
    numbers = keep_numbers(learned=learn(now), now=now)
    bar.end(f"{numbers.stretches} stretches of {numbers.machines} trikes")
    bar = tell("First sweep")
    run = run_sweep(now=now, tell=bar)
    bar.end(f"{run.trikes_done} trikes, {run.visits_planned} visits, {run.messages_written} reminders")
    make_bulletins(now, tell("Bulletins"))
    review(now, tell("Failure review"))


def review(now: datetime, bar: Bar) -> None:
    """Reckon the first failure review."""
    ask_for_review(now=now)
    run = begin_review(now=now)
    if run is not None:
        keep_review(run_id=run.pk, reckoned=reckon(now), now=now)
    bar.end(f"{findings().count()} part types, {findings(only_to_do=True).count()} with something to do")


def bring_in_files(now: datetime, bar: Bar) -> None:
    """Take the demo's spreadsheets through the same import as any other. Raises DemoFilesMissing, DemoFileRefused."""
    files = demo_files()
    shift = (local_date(now) - date.fromisoformat(ANCHOR.read_text(encoding="utf-8").strip())).days
    reports = bring_in(
        files=files,
        shift_days=shift,
        by=User.objects.get(username="admin"),
        now=now,
        write=True,
        tell=lambda words, done, total: bar(done, total, words),
    )
    for report in reports:
        if report.is_refused:
            raise DemoFileRefused(f"{report.batch.file_name} was refused: {_first_fault(report)}")
    bar.end(", ".join(f"{report.batch.rows_total} {report.batch.get_kind_display()}" for report in reports))


def make_build_lists(now: datetime, bar: Bar) -> None:
    """Give each model the list of what most of its delivered trikes carry."""
    models = models_without_a_list()
    for done, model in enumerate(models, start=1):
        trikes = delivered_of_model(model)
        build_list_from_trikes(trike_ids=trikes, model=model, by=User.objects.get(username="admin"), now=now)
        bar(done, len(models), model)
    bar.end(f"{len(models)} models")


def _first_fault(report: Report) -> str:
    bad = next((row for row in report.rows if row.verdict == "bad"), None)
    return f"row {bad.number}, {bad.field}: {bad.message}" if bad else report.batch.message


def demo_files() -> list[tuple[str, bytes]]:
    """Return the demo's spreadsheets by name."""
    paths = sorted(path for path in FILES.glob("*") if path.suffix in {".csv", ".xlsx"} and path != INTERVALS)
    if not paths or not ANCHOR.exists():
        raise DemoFilesMissing(f"The demo's spreadsheets are not in {FILES}.")
    return [(path.name, path.read_bytes()) for path in paths]
