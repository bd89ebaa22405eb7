"""Service books: rows with one job number are one job card, signed as written. Cards are replayed in date order."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal

from services.errors import Refusal
from services.units import to_km
from tracker.actions.importing.bench import Bench, Swapping, Taken
from tracker.actions.importing.failed import Failed, read_failure
from tracker.actions.importing.fittings import Fittings, Stay
from tracker.actions.importing.hints import Hints
from tracker.actions.importing.meters import MILLI, Meters, reading_of, trikes_named
from tracker.actions.importing.odometer import UNITS
from tracker.actions.importing.plan import Clash, Context, NotKnown, Plan, Verdicts, rows_in
from tracker.actions.importing.service_book_write import write_cards
from tracker.actions.importing.staff import Staff
from tracker.models import Component, Handover, JobCard, OdometerReading, Trike
from tracker.models.usage import Source
from tracker.queries.clock import local_date, noon
from tracker.spreadsheets.refusals import MissingCell
from tracker.spreadsheets.row import Row

TEXTS = ("Complaint", "Cause", "Correction")


@dataclass
class Job:
    """One job card being put together from its rows."""

    number: str
    trike: Trike
    day: date
    mechanic: str
    rows: list[Row] = field(default_factory=list)
    reading_cell: tuple[Decimal, str] | None = None
    texts: dict[str, list[str]] = field(default_factory=lambda: {name: [] for name in TEXTS})
    minutes: int = 0
    at: datetime | None = None
    reading: OdometerReading | None = None
    tasks: dict[tuple[int, str], None] = field(default_factory=dict)  # (component, task), in order
    measured: dict[tuple[int, str], Taken] = field(default_factory=dict)
    swaps: dict[str, Swapping] = field(default_factory=dict)  # by position
    failed: dict[int, Failed] = field(default_factory=dict)  # by component
    found: list[Stay] = field(default_factory=list)  # what was fitted when the job began
    fitted: list[Stay] = field(default_factory=list)  # when the job was done

    def told(self, name: str) -> str:
        """Return the texts of all rows, each once, a line each."""
        return "\n".join(self.texts[name])


def examine(rows: Sequence[Row], context: Context) -> Plan:
    """Judge every row, replaying the jobs in date order so that each meets the parts fitted that day."""
    verdicts = Verdicts(rows)
    book = _Book(rows, context)
    for row in verdicts.fresh():
        book.read(row, verdicts)
    jobs = book.in_order()
    for job in jobs:
        book.replay(job, verdicts)
    for job in jobs:
        if any(row.problems for row in job.rows):
            _spoil(job)
    verdicts.settle()
    return Plan(verdicts, lambda: write_cards(jobs, book.fittings, book.staff, book.meters, context))


def _spoil(job: Job) -> None:
    """A card with one bad row is not written; its other rows say why."""
    bad = next(row for row in job.rows if row.problems)
    for row in job.rows:
        if not row.problems:
            row.refuse(Clash(f"Row {bad.number} of job {job.number} is bad.", field="Job", remedy="Correct that row."))


class _Book:
    """The bench as the file meets it, changing with every job."""

    def __init__(self, rows: Sequence[Row], context: Context) -> None:
        self.context = context
        looks = [Row(row.number, row.cells) for row in rows]
        self.trikes = trikes_named(look.serial("Frame serial") for look in looks)
        numbers = {look.text("Job", 20) for look in looks} - {""}
        self.cards = {card.number: card for card in rows_in(JobCard.objects.all(), "number", numbers)}
        serials = {look.serial(column) for look in looks for column in ("Old serial", "New serial")}
        known = rows_in(Component.objects.select_related("part_type"), "serial", serials)
        components = {row.serial: row for row in known}
        trikes = {trike.pk: trike for trike in self.trikes.values()}
        self.fittings = Fittings.of(trike_ids=trikes, component_ids=[row.pk for row in components.values()])
        self.meters = Meters(trikes.values(), context)
        set_ups = {row.trike_id: row for row in rows_in(Handover.objects.all(), "trike_id", trikes)}
        self.bench = Bench(self.fittings, components, set_ups)
        self.staff = Staff()
        self.hints = Hints(lambda: Trike.objects.values_list("frame_serial", flat=True))
        self.jobs: dict[str, Job] = {}

    def read(self, row: Row, verdicts: Verdicts) -> None:
        """Put the row to its job; note what does not fit the job's other rows."""
        number = row.text("Job", 20, needed=True)
        day = row.day("Date", self.context.shift_days, self.context.today, needed=True)
        trike = self._trike(row)
        mechanic = row.text("Mechanic", 80, needed=number not in self.jobs and number not in self.cards)
        if row.problems or trike is None or day is None:
            return
        if number in self.cards:
            self._known_card(row, self.cards[number], trike, verdicts)
            return
        job = self.jobs.setdefault(number, Job(number, trike, day, mechanic))
        job.rows.append(row)
        self._check_agrees(row, job, trike, day, mechanic)
        self._read_odometer(row, job)
        for name in TEXTS:
            text = row.text(name, 10_000)
            if text and text not in job.texts[name]:
                job.texts[name].append(text)
        job.minutes = max(job.minutes, int(row.number_in("Minutes", 0, 6_000) or 0))

    def _trike(self, row: Row) -> Trike | None:
        name = row.serial("Frame serial", needed=True)
        trike = self.trikes.get(name) if name else None
        if name and trike is None:
            row.refuse(
                NotKnown(
                    f"No trike has the frame serial or plate {name}.{self.hints.near(name)}", field="Frame serial",
                    remedy="Import the delivery first, or correct the serial.",
                )
            )  # fmt: skip
        return trike

    def _known_card(self, row: Row, card: JobCard, trike: Trike, verdicts: Verdicts) -> None:
        if card.trike_id == trike.pk and card.state == JobCard.State.SIGNED:
            verdicts.skip(row, f"Job card {card.number} is there already; signed cards are not changed.")
            return
        row.refuse(
            Clash(
                f"Job number {card.number} belongs to another card ({card.get_state_display()}).", field="Job",
                remedy="Give this job another number.",
            )
        )  # fmt: skip

    def _check_agrees(self, row: Row, job: Job, trike: Trike, day: date, mechanic: str) -> None:
        first = job.rows[0].number
        for column, same in (
            ("Frame serial", trike.pk == job.trike.pk),
            ("Date", day == job.day),
            ("Mechanic", not mechanic or self.staff.is_same(mechanic, job.mechanic)),
        ):
            if not same:
                row.refuse(
                    Clash(
                        f"Job {job.number} has another {column.lower()} in row {first}.", field=column,
                        remedy="All rows of a job must agree.",
                    )
                )  # fmt: skip

    def _read_odometer(self, row: Row, job: Job) -> None:
        value = row.number_in("Odometer", 0, 1_000_000)
        unit = row.choice("Unit", UNITS) or "km"
        if value is None or row.problems:
            return
        cell = value.quantize(MILLI), unit
        if job.reading_cell is None:
            job.reading_cell = cell
        elif job.reading_cell != cell:
            row.refuse(
                Clash(
                    f"Job {job.number} has another odometer in an earlier row.", field="Odometer",
                    remedy="All rows of a job must agree.",
                )
            )  # fmt: skip

    def in_order(self) -> list[Job]:
        """Return the jobs by date; jobs of one trike on one day follow each other by a minute."""
        jobs = sorted(self.jobs.values(), key=lambda job: (job.day, job.rows[0].number))
        that_day: dict[tuple[int, date], int] = defaultdict(int)
        for job in jobs:
            key = (job.trike.pk, job.day)
            if key not in that_day:
                that_day[key] = self._minutes_taken(job)
            job.at = noon(job.day) + timedelta(minutes=that_day[key])
            that_day[key] += 1
        return jobs

    def _minutes_taken(self, job: Job) -> int:
        """Minutes after noon at which parts were moved on that trike that day already, the next free one."""
        times = [
            moment
            for stay in self.fittings.of_trike[job.trike.frame_serial]
            for moment in (stay.fitted_at, stay.removed_at)
            if moment is not None and local_date(moment) == job.day
        ]
        latest = max(times, default=None)
        return 0 if latest is None else max(0, int((latest - noon(job.day)).total_seconds() // 60) + 1)

    def replay(self, job: Job, verdicts: Verdicts) -> None:
        """Do the job on paper: odometer, tasks and measurements on what was fitted, then the swaps."""
        if job.trike.delivered_on is None or job.day < job.trike.delivered_on:
            job.rows[0].refuse(
                Clash(
                    f"Trike {job.trike} was not delivered by {job.day:%d %b %Y}.",
                    field="Date",
                    remedy="Check the date.",
                )
            )
            return
        self._judge_reading(job, verdicts)
        job.found = self.fittings.on(job.trike.frame_serial, job.at)
        for row in job.rows:
            self.bench.read_work(row, job)
            read_failure(row, job)
        for row in job.rows:
            self.bench.read_swap(row, job)
        job.fitted = self.fittings.on(job.trike.frame_serial, job.at)
        for row in job.rows:
            if not row.problems and all(
                row.is_blank(name) for name in ("Task", "Measured", "New serial", "Old serial", "Failure mode")
            ):
                self._check_tells_something(row)

    def _check_tells_something(self, row: Row) -> None:
        if all(row.is_blank(name) for name in TEXTS):
            row.refuse(
                MissingCell("The row records no work.", field="Task", remedy="Name the task, the value or the swap.")
            )

    def _judge_reading(self, job: Job, verdicts: Verdicts) -> None:
        if job.reading_cell is None:
            return
        value, unit = job.reading_cell
        pk = job.trike.pk
        job.reading = self.meters.stored(pk, job.at, value, unit)
        if job.reading is not None:
            return
        at = self.meters.moment_of(pk, job.at, float(to_km(float(value), unit)))
        row = next(row for row in job.rows if not row.is_blank("Odometer"))
        try:
            verdict = self.meters.judge(pk, at, value, unit)
        except Refusal as problem:
            problem.field = "Date" if problem.field in {"day", "read_at"} else "Odometer"
            row.refuse(problem)
            return
        job.reading = reading_of(pk, at, value, unit, Source.JOB_CARD, verdict, self.context, f"job card {job.number}")
        self.meters.take(job.reading)
        if verdict.state == OdometerReading.Verdict.SUSPECT:
            verdicts.question(row, "Odometer", verdict.code, verdict.reason)
