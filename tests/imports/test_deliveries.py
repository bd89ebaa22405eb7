"""Delivery files: trikes with owner, set-up, signatures and serials."""

import pytest

from tests.imports.register import bring, delivery, furnish, parts_for
from tests.imports.workbooks import file_of, workbook_of
from tracker.actions.imports import bring_in
from tracker.models import Component, Fitment, Handover, LogEntry, OdometerReading, Owner, Ownership, Trike, User
from tracker.queries.clock import local_date
from tracker.queries.logbook import broken_chains

pytestmark = pytest.mark.django_db


@pytest.fixture
def stock():
    bring("parts", *parts_for(1), *parts_for(2))


def refused(*rows) -> list[tuple[str, str]]:
    report = bring("deliveries", *rows)
    assert not Trike.objects.exists()
    assert not Owner.objects.exists()
    return [(row.code, row.field) for row in report.rows if row.verdict == "bad"]


def test_a_delivery_becomes_a_delivered_trike_with_its_parts(stock):
    bring("deliveries", delivery(1))
    trike = Trike.objects.get()
    assert (trike.frame_serial, trike.plate, trike.state, str(trike.delivered_on)) == (
        "F1",
        "LT-1",
        "delivered",
        "2025-05-01",
    )
    fitted = {row.position: row.component.serial for row in Fitment.objects.current().filter(trike=trike)}
    assert fitted == {
        "frame": "F1", "battery": "B1", "chain": "C1", "elastomer-left": "EL1", "elastomer-right": "ER1"
    }  # fmt: skip
    assert set(Component.objects.filter(fitments__trike=trike).values_list("state", flat=True)) == {"fitted"}


def test_the_parts_are_fitted_at_noon_of_the_workshop(stock):
    bring("deliveries", delivery(1))
    assert Fitment.objects.filter(position="chain").get().fitted_at.isoformat() == "2025-05-01T11:00:00+00:00"


def test_the_handover_keeps_set_up_and_both_signatures(stock):
    bring("deliveries", delivery(1))
    row = Handover.objects.get()
    assert row.shock_pressure_kpa == pytest.approx(150 * 6.894757, rel=1e-6)  # NIST SP 811: 1 psi = 6.894 757 kPa
    assert (row.reading_km, row.rider_mass_kg, row.elastomer_grade, row.toe_in_mm) == (12.5, 78, "medium", 1)
    assert (str(row.built_by), str(row.second_by)) == ("Nia Prosser", "Tom Ashby")


def test_people_named_become_mechanics_who_cannot_sign_in(stock):
    bring("deliveries", delivery(1))
    person = User.objects.get(username="nia-prosser")
    assert [group.name for group in person.groups.all()] == ["mechanic"]
    assert not person.has_usable_password()


def test_people_known_already_are_not_added_again(stock):
    known = User.objects.create(username="nia", display_name="Nia Prosser")
    bring("deliveries", delivery(1))
    assert Handover.objects.get().built_by == known


def test_the_handover_odometer_is_where_the_distance_begins(stock):
    bring("deliveries", delivery(1, **{"Odometer at handover": "10", "Odo unit": "mi"}))
    reading = OdometerReading.objects.get()
    assert (reading.value, reading.unit, reading.source, reading.verdict) == (10, "mi", "handover", "accepted")
    assert Trike.objects.get().odometer_zero_km == pytest.approx(16.09344)  # NIST SP 811: 1 mile = 1.609 344 km


def test_the_owner_is_found_without_accents_and_by_phone(stock):
    bring("deliveries", delivery(1))
    owner = Owner.objects.get()
    assert (owner.search_name, owner.phone, owner.phone_e164) == ("zoe rider1", "020 7946 0101", "+442079460101")
    assert (owner.time_zone, owner.pressure_unit, owner.reminders_agreed) == ("Europe/Berlin", "psi", True)


@pytest.mark.parametrize(("word", "agreed"), [("yes", True), ("Yes (2025)", True), ("no", False), ("", False)])
def test_only_a_yes_is_consent(stock, word, agreed):
    bring("deliveries", delivery(1, Consent=word))
    assert Owner.objects.get().reminders_agreed is agreed


@pytest.mark.parametrize(("word", "code"), [
    ("de", "de"), ("DE", "de"), ("Deutsch", "de"), ("german", "de"), ("en", "en"), ("English", "en"), ("", "en"),
])  # fmt: skip
def test_the_owner_reads_the_language_that_was_written_down(stock, word, code):
    bring("deliveries", delivery(1, Language=word))
    assert Owner.objects.get().language == code


def test_a_file_without_the_column_of_languages_is_read_as_before(stock):
    assert b"Language" not in file_of("deliveries", delivery(1))
    bring("deliveries", delivery(1))
    assert Owner.objects.get().language == "en"


def test_one_name_with_one_address_is_one_owner(stock):
    same = {"Owner": "Zoe RIDER", "E-mail": "Zoe@example.org"}
    bring("deliveries", delivery(1, **{"Owner": "Zoë Rider", "E-mail": "zoe@example.org"}), delivery(2, **same))
    assert (Owner.objects.count(), Ownership.objects.filter(until=None).count()) == (1, 2)


def test_an_owner_known_already_is_kept_as_they_are(stock):
    Owner.objects.create(
        name="Zoë Rider1", search_name="zoe rider1", email="rider1@example.org", phone="+44 20 7946 0999"
    )
    bring("deliveries", delivery(1))
    assert Owner.objects.get().phone == "+44 20 7946 0999"
    assert Owner.objects.get().ownerships.count() == 1


def test_the_logbook_tells_the_delivery_and_holds(stock):
    bring("deliveries", delivery(1))
    kinds = list(LogEntry.objects.order_by("seq").values_list("kind", flat=True))
    assert kinds == ["fitted"] * 5 + ["handover_built", "delivered"]
    assert list(broken_chains()) == []


def test_no_personal_data_stands_in_the_logbook(stock):
    bring("deliveries", delivery(1))
    told = str(list(LogEntry.objects.values_list("body", flat=True)))
    assert not any(word in told for word in ("Rider", "example.org", "7946", "Nia"))


def test_the_same_deliveries_again_write_nothing(stock):
    bring("deliveries", delivery(1), delivery(2))
    before = LogEntry.objects.count()
    again = bring("deliveries", delivery(1), delivery(2))
    assert (again.batch.rows_skipped, Trike.objects.count(), Owner.objects.count()) == (2, 2, 2)
    assert LogEntry.objects.count() == before


def test_a_workbook_with_real_dates_and_numbers_reads_the_same(stock):
    from datetime import datetime

    row = delivery(1, Delivered=datetime(2025, 5, 1), **{"Odometer at handover": 12.5, "Rider mass kg": 78})
    (report,) = bring_in(files=[("x.xlsx", workbook_of("deliveries", row))], now=parts_now(), write=True)
    assert (report.batch.kind, report.batch.rows_good) == ("deliveries", 1)
    assert Handover.objects.get().reading_km == 12.5


def parts_now():
    from tests.imports.register import NOW

    return NOW


def test_a_formula_in_a_workbook_is_refused_per_row_and_nothing_is_written(stock):
    rows = [delivery(1), delivery(2, **{"Rider mass kg": "=70+8"})]
    (report,) = bring_in(files=[("x.xlsx", workbook_of("deliveries", *rows))], now=parts_now(), write=True)
    assert [(row.number, row.code, row.field) for row in report.rows] == [(3, "formula", "Rider mass kg")]
    assert "Paste it as a value" in report.rows[0].message
    assert not Trike.objects.exists()


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"Frame serial": "F9"}, "not-known", "Frame serial"),
        ({"Frame serial": "C1", "Chain": ""}, "wrong-position", "Frame serial"),
        ({"Frame serial": ""}, "missing", "Frame serial"),
        ({"Delivered": "2026-05-02"}, "date-in-future", "Delivered"),
        ({"Delivered": ""}, "missing", "Delivered"),
        ({"Owner": ""}, "missing", "Owner"),
        ({"E-mail": "a@example.org, b@example.org"}, "bad-address", "E-mail"),
        ({"E-mail": "a@example.org\nBcc: b@example.org"}, "bad-address", "E-mail"),
        ({"Time zone": "Mars/Base"}, "not-known", "Time zone"),
        ({"Units": "furlong"}, "not-a-choice", "Units"),
        ({"Language": "Latin"}, "not-a-choice", "Language"),
        ({"Consent": "maybe"}, "not-a-choice", "Consent"),
        ({"Built by": ""}, "missing", "Built by"),
        ({"Second signature": "nia prosser"}, "clash", "Second signature"),
        ({"Odometer at handover": "twelve"}, "not-a-number", "Odometer at handover"),
        ({"Odometer at handover": "-1"}, "out-of-range", "Odometer at handover"),
        ({"Odometer at handover": ""}, "missing", "Odometer at handover"),
        ({"Rider mass kg": "780"}, "out-of-range", "Rider mass kg"),
        ({"Shock unit": ""}, "missing", "Shock unit"),
        ({"Shock pressure": "600", "Shock unit": "psi"}, "clash", "Shock pressure"),
        ({"Elastomer grade": "jelly"}, "not-a-choice", "Elastomer grade"),
        ({"Chain": "C9"}, "not-known", "Chain"),
        ({"Chain": "B2"}, "wrong-position", "Chain"),
        ({"Elastomer right": "EL1"}, "clash", "Elastomer right"),
        ({"Model": "x" * 81}, "out-of-range", "Model"),
    ],
)
def test_a_bad_delivery_names_its_column_and_nothing_is_written(stock, change, code, field):
    assert refused(delivery(2), delivery(1, **change)) == [(code, field)]


def test_a_part_on_two_rows_is_refused_naming_the_row(stock):
    assert refused(delivery(1), delivery(2, Chain="C1")) == [("clash", "Chain")]


def test_a_plate_on_two_rows_is_refused(stock):
    assert refused(delivery(1), delivery(2, Plate="lt-1")) == [("clash", "Plate")]


def test_a_part_fitted_elsewhere_is_refused_naming_trike_and_position():
    furnish(1)
    bring("parts", *parts_for(2))
    report = bring("deliveries", delivery(2, Chain="C1"))
    assert "C1 sits on trike F1 at chain." in report.rows[0].message
    assert Trike.objects.count() == 1


def test_a_scrapped_part_is_not_delivered(stock):
    Component.objects.filter(serial="C1").update(state="scrapped")
    assert refused(delivery(1)) == [("clash", "Chain")]


def test_a_trike_delivered_on_another_day_is_refused():
    furnish(1)
    report = bring("deliveries", delivery(1, Delivered="2025-05-02"))
    assert [(row.code, row.field) for row in report.rows] == [("clash", "Frame serial")]


def test_a_phone_that_cannot_be_read_is_kept_as_typed_and_questioned(stock):
    report = bring("deliveries", delivery(1, Phone="ask at the bakery"))
    assert [(row.verdict, row.field) for row in report.rows] == [("questioned", "Phone")]
    assert (Owner.objects.get().phone, Owner.objects.get().phone_e164) == ("ask at the bakery", "")


def test_a_missing_second_signature_is_questioned_and_left_open(stock):
    report = bring("deliveries", delivery(1, **{"Second signature": ""}))
    assert [row.field for row in report.rows] == ["Second signature"]
    assert Handover.objects.get().second_signed_at is None


def test_all_dates_move_with_the_shift(stock):
    bring("deliveries", delivery(1), shift_days=30)
    assert str(Trike.objects.get().delivered_on) == "2025-05-31"
    assert str(local_date(OdometerReading.objects.get().read_at)) == "2025-05-31"
