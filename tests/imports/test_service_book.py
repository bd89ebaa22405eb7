"""Service books: job cards with work, measurements and swaps, replayed in date order."""

import pytest

from tests.imports.register import bring, furnish, job, part, reading
from tracker.models import (
    Completion,
    Component,
    Fitment,
    JobCard,
    JobTask,
    LogEntry,
    Measurement,
    OdometerReading,
    Swap,
    User,
)
from tracker.queries.logbook import broken_chains

pytestmark = pytest.mark.django_db

SWAP = {"Position": "chain", "Old serial": "C1", "New serial": "S1", "Old part fate": "scrapped"}


@pytest.fixture
def trikes():
    furnish(1, 2)


def bad(report) -> list[tuple[int, str, str]]:
    assert not JobCard.objects.exists()
    return [(row.number, row.code, row.field) for row in report.rows if row.verdict == "bad"]


def test_rows_of_one_job_become_one_signed_card(trikes):
    bring(
        "service_book",
        job(1, Task="chain_check", Measured="chain_elongation_pct=0,62; pitches=50", Complaint="creaks"),
        job(1, Task="hinge_check", Correction="cleaned", Minutes="15", Mechanic="", Odometer="", Unit=""),
    )
    card = JobCard.objects.get()
    assert (card.number, card.state, str(card.signed_by), card.minutes) == ("J25-00001", "signed", "Nia Prosser", 40)
    assert (card.complaint, card.correction, card.reading.value) == ("creaks", "cleaned", 900)
    assert {task.task for task in card.tasks.all()} == {"chain_check", "hinge_check"}
    assert set(Completion.objects.values_list("task", "via")) == {("chain_check", ""), ("hinge_check", "")}


def test_the_mechanic_is_added_without_a_password(trikes):
    bring("service_book", job(1, Task="chain_check", Mechanic="Ida Fenn"))
    assert not User.objects.get(username="ida-fenn").has_usable_password()


def test_a_measured_value_comes_with_its_meaning(trikes):
    bring("service_book", job(1, Task="chain_check", Measured="chain_elongation_pct=0,62; pitches=50"))
    row = Measurement.objects.get()
    assert (row.value, row.context, row.component.serial) == (0.62, {"pitches": 50.0}, "C1")
    assert "0.62 %" in row.words


def shock_measured(told):
    """What is kept of a shock pressure told so, the shock having come in a month before; the handover set 150 psi."""
    shock = part(
        "chain", "A1", **{"Part number": "LF-A1", "Kind": "air_shock", "Rated values": "max_kpa=2070; stroke_mm=50"}
    )
    bring("parts", shock)
    bring(
        "service_book",
        job(1, Date="2025-10-03", Odometer="", Unit="", **{"Position": "rear-shock", "New serial": "A1"}),
        job(1, Job="J25-00002", Task="shock_air_check", Measured=f"shock_pressure={told}"),
    )
    return Measurement.objects.get()


def test_a_shock_pressure_counts_from_what_the_handover_set(trikes):
    row = shock_measured("120 psi; temperature_c=20")
    assert row.context["set_kpa"] == pytest.approx(150 * 6.894757, rel=1e-6)  # NIST SP 811: 1 psi = 6.894 757 kPa
    assert (row.context["temperature_c"], row.level) == (20.0, "watch")  # four fifths of what was set


def test_what_the_book_says_a_shock_was_set_to_counts_before_the_handover(trikes):
    assert shock_measured("120 psi; temperature_c=20; set_kpa=830").context["set_kpa"] == 830.0


def test_a_large_service_covers_the_small_ones(trikes):
    bring("service_book", job(1, Task="general_service"))
    done = dict(Completion.objects.values_list("task", "via"))
    assert (done["general_service"], done["chain_check"], done["toe_in_check"]) == (
        "",
        "general_service",
        "general_service",
    )


def test_a_task_without_a_position_is_done_on_every_fitted_piece_of_its_kind(trikes):
    bring("service_book", job(1, Task="elastomer_inspection"))
    assert set(JobTask.objects.values_list("component__serial", flat=True)) == {"EL1", "ER1"}


def test_a_task_with_a_position_is_done_there_only(trikes):
    row = job(1, Task="elastomer_inspection", Position="elastomer-left", Measured="hardness_shore_a=66")
    bring("service_book", row)
    assert list(JobTask.objects.values_list("component__serial", flat=True)) == ["EL1"]
    assert Measurement.objects.get().component.serial == "EL1"


def test_a_value_that_can_belong_to_two_pieces_needs_a_position(trikes):
    report = bring("service_book", job(1, Task="elastomer_inspection", Measured="hardness_shore_a=66"))
    assert bad(report) == [(2, "missing", "Position")]
    assert "elastomer-left, elastomer-right" in report.rows[0].message


def test_a_swap_moves_both_pieces(trikes):
    bring("service_book", job(1, Task="chain_check", Cause="worn", **SWAP))
    spans = {row.component.serial: row for row in Fitment.objects.filter(trike__frame_serial="F1", position="chain")}
    assert spans["C1"].removed_at == spans["S1"].fitted_at
    assert (spans["C1"].fate, spans["C1"].removal_reason, spans["S1"].removed_at) == ("scrapped", "worn", None)
    states = dict(Component.objects.filter(serial__in=["C1", "S1"]).values_list("serial", "state"))
    assert states == {"C1": "scrapped", "S1": "fitted"}
    swap = Swap.objects.get()
    assert (swap.old_component.serial, swap.new_component.serial, swap.fate) == ("C1", "S1", "scrapped")


def test_swaps_of_several_jobs_are_replayed_in_date_order_whatever_the_rows(trikes):
    bring("parts", part("chain", "T1"))
    later = job(
        1, Job="B", Date="2026-02-01", Odometer="1500", Position="chain",
        **{"Old serial": "S1", "New serial": "T1", "Old part fate": "to stock"},
    )  # fmt: skip
    assert bring("service_book", later, job(1, Job="A", **SWAP)).batch.rows_bad == 0
    order = Fitment.objects.filter(trike__frame_serial="F1", position="chain").order_by("fitted_at")
    assert [row.component.serial for row in order] == ["C1", "S1", "T1"]
    assert Component.objects.get(serial="S1").state == "in_stock"


def test_a_piece_taken_off_one_trike_may_go_on_another_later_in_the_file(trikes):
    give = job(1, Job="A", **(SWAP | {"Old part fate": "to stock"}))
    take = job(
        2,
        Job="B",
        Date="2025-12-01",
        Position="chain",
        **{"Old serial": "C2", "New serial": "C1", "Old part fate": "scrapped"},
    )
    assert bring("service_book", give, take).batch.rows_bad == 0
    assert Fitment.objects.current().get(component__serial="C1").trike.frame_serial == "F2"


def test_two_jobs_on_one_trike_on_one_day_follow_each_other(trikes):
    bring("parts", part("chain", "T1"))
    second = job(1, Job="B", Position="chain", **{"Old serial": "S1", "New serial": "T1", "Old part fate": "returned"})
    assert bring("service_book", job(1, Job="A", **SWAP), second).batch.rows_bad == 0
    assert Fitment.objects.current().get(trike__frame_serial="F1", position="chain").component.serial == "T1"


def test_a_job_on_the_day_of_delivery_comes_after_the_handover(trikes):
    report = bring("service_book", job(1, Date="2025-05-01", Odometer="13", **SWAP))
    assert (report.batch.rows_bad, JobCard.objects.count()) == (0, 1)


def test_the_odometer_of_a_job_is_judged_and_a_doubtful_one_questioned(trikes):
    report = bring(
        "service_book",
        job(1, Task="chain_check"),
        job(1, Job="B", Date="2025-12-01", Odometer="90", Task="hinge_check"),
    )
    assert [(row.number, row.verdict, row.field) for row in report.rows] == [(3, "questioned", "Odometer")]
    assert list(
        OdometerReading.objects.filter(source="job_card").order_by("read_at").values_list("verdict", flat=True)
    ) == [
        "accepted",
        "suspect",
    ]


def test_a_reading_that_is_there_already_is_linked_and_not_written_again(trikes):
    bring("odometer", reading(1, "2025-11-03", "900"))
    bring("service_book", job(1, Task="chain_check"))
    assert OdometerReading.objects.filter(value=900).count() == 1
    assert JobCard.objects.get().reading.source == "owner"


def test_the_odometer_of_the_job_that_swapped_the_display_belongs_to_the_old_display(trikes):
    bring("odometer", reading(1, "2025-11-03", "", Note="display swapped, old 900, new 0"))
    report = bring("service_book", job(1, Task="chain_check"))
    assert (report.batch.rows_questioned, JobCard.objects.get().reading.verdict) == (0, "accepted")


def test_the_logbook_tells_the_job_and_holds(trikes):
    bring("service_book", job(1, Task="chain_check", Measured="chain_elongation_pct=0.8; pitches=50", **SWAP))
    kinds = list(LogEntry.objects.filter(trike__frame_serial="F1").order_by("seq").values_list("kind", flat=True))
    assert kinds[-6:] == ["reading", "removed", "fitted", "task_done", "measured", "job_card_signed"]
    assert list(broken_chains()) == []


def test_the_owners_own_words_stay_out_of_the_logbook(trikes):
    bring("service_book", job(1, Task="chain_check", Complaint="call me on my private number"))
    assert "private" not in str(list(LogEntry.objects.values_list("body", flat=True)))


def test_the_same_book_again_writes_nothing(trikes):
    rows = [
        job(1, Task="chain_check", **SWAP),
        job(1, Task="hinge_check", Mechanic="", Odometer="", Minutes=""),
        job(2, Job="B", Task="hinge_check"),
    ]
    bring("service_book", *rows)
    before = [model.objects.count() for model in (JobCard, Fitment, Completion, LogEntry, OdometerReading)]
    again = bring("service_book", *rows)
    assert (again.batch.rows_skipped, again.batch.rows_bad) == (3, 0)
    assert [model.objects.count() for model in (JobCard, Fitment, Completion, LogEntry, OdometerReading)] == before


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"Frame serial": "F9"}, "not-known", "Frame serial"),
        ({"Date": "2026-05-02"}, "date-in-future", "Date"),
        ({"Date": "2025-04-30"}, "clash", "Date"),
        ({"Job": ""}, "missing", "Job"),
        ({"Job": "x" * 21}, "out-of-range", "Job"),
        ({"Mechanic": ""}, "missing", "Mechanic"),
        ({"Minutes": "long"}, "not-a-number", "Minutes"),
        ({"Odometer": "n/a"}, "not-a-number", "Odometer"),
        ({"Task": "polish_check"}, "not-known", "Task"),
        ({"Task": ""}, "missing", "Task"),
        ({"Task": "hub_oil_change"}, "not-known", "Task"),
        ({"Measured": "0.62"}, "bad-text", "Measured"),
        ({"Measured": "shine=3"}, "not-known", "Measured"),
        ({"Measured": "chain_elongation_pct=40; pitches=50"}, "impossible-measurement", "Measured"),
        ({"Measured": "chain_elongation_pct=0.5 psi; pitches=50"}, "field-invalid", "Measured"),
        ({"Measured": "chain_elongation_pct=much"}, "not-a-number", "Measured"),
        ({"New serial": "S1"}, "missing", "Position"),
        (SWAP | {"Position": "mast"}, "not-a-choice", "Position"),
        (SWAP | {"Position": "frame"}, "clash", "Position"),
        (SWAP | {"Old serial": "C2"}, "clash", "Old serial"),
        (SWAP | {"Position": "display", "New serial": ""}, "not-known", "Old serial"),
        (SWAP | {"New serial": "S9"}, "not-known", "New serial"),
        (SWAP | {"New serial": "C2"}, "clash", "New serial"),
        (SWAP | {"New serial": "B2"}, "wrong-position", "New serial"),
        (SWAP | {"Old part fate": ""}, "missing", "Old part fate"),
        (SWAP | {"Old part fate": "eaten"}, "not-a-choice", "Old part fate"),
        ({"Complaint": "x" * 10_001}, "out-of-range", "Complaint"),
        ({"Cause": "a\x07b"}, "bad-text", "Cause"),
    ],
)
def test_a_bad_row_names_its_column_and_nothing_is_written(trikes, change, code, field):
    report = bring("service_book", job(2, Job="OK", Task="chain_check"), job(1, Task="chain_check") | change)
    assert [(c, f) for _, c, f in bad(report)] == [(code, field)]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"Frame serial": "F2"}, "Frame serial"),
        ({"Date": "2025-11-04"}, "Date"),
        ({"Mechanic": "Ida Fenn"}, "Mechanic"),
        ({"Odometer": "901"}, "Odometer"),
    ],
)
def test_rows_of_one_job_must_agree(trikes, change, field):
    report = bring("service_book", job(1, Task="chain_check"), job(1, Task="hinge_check") | change)
    assert (3, "clash", field) in bad(report)


def test_the_good_rows_of_a_job_with_a_bad_row_say_why_they_are_not_written(trikes):
    report = bring("service_book", job(1, Task="chain_check"), job(1, Task="polish_check"))
    assert (2, "clash", "Job") in bad(report)
    assert "Row 3" in next(row.message for row in report.rows if row.number == 2)


def test_a_scrapped_piece_is_not_fitted(trikes):
    Component.objects.filter(serial="S1").update(state="scrapped")
    report = bring("service_book", job(1, **SWAP))
    assert bad(report) == [(2, "clash", "New serial")]
    assert "scrapped" in report.rows[0].message


def test_a_swap_before_one_that_is_recorded_already_is_refused(trikes):
    bring("parts", part("chain", "T1"))
    bring("service_book", job(1, Job="A", **SWAP))
    earlier = SWAP | {"New serial": "T1"}
    report = bring("service_book", job(1, Job="B", Date="2025-10-01", Odometer="800", **earlier))
    assert report.is_refused
    assert "fitted again on 03 Nov 2025" in report.rows[0].message


def test_a_job_number_of_another_trike_is_refused(trikes):
    bring("service_book", job(1, Task="chain_check"))
    report = bring("service_book", job(2, Job="J25-00001", Task="chain_check"))
    assert [(row.code, row.field) for row in report.rows] == [("clash", "Job")]


def test_a_value_measured_twice_on_a_job_is_refused(trikes):
    row = job(1, Task="chain_check", Measured="chain_elongation_pct=0.6; pitches=50")
    report = bring("service_book", row, row | {"Measured": "chain_elongation_pct=0.7; pitches=50"})
    assert (3, "clash", "Measured") in bad(report)
