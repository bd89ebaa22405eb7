"""Papers to print: what each must say, what none may say, and that anything typed leaves a sheet that can be handed out."""

from datetime import UTC, datetime, timedelta

import pytest

from services.chain_code import read_code
from tests import factories as make
from tests.pages.conftest import carry, due, logged_in
from tests.papers.reading import read, right_edges, words_of
from tests.reminders.test_german import english_in
from tracker.actions.steps import draft_of, write_logs
from tracker.models import Component, Fitment, JobCard, LogEntry, Measurement

NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)


def paper(workshop) -> str:
    return f"/jobs/{workshop.card.pk}/paper.pdf"


def passport(workshop) -> str:
    return f"/trikes/{workshop.trike.pk}/passport.pdf"


def logged(trike, count: int = 1) -> None:
    """Entries in the trike's logbook, chained as the actions chain them."""
    for _ in range(count):
        write_logs([draft_of(trike.pk, "note", NOW, None, "desk", {"told": "something"})], NOW)


def signed(workshop, **values) -> JobCard:
    """The workshop's card, signed as it stands."""
    who = make.UserFactory(display_name="Mika Bench")
    JobCard.objects.filter(pk=workshop.card.pk).update(
        state="signed", signed_at=NOW, signed_by=who, reading=workshop.trike.readings.first(), **values
    )
    workshop.card.refresh_from_db()
    return workshop.card


@pytest.mark.parametrize("name", ["paper.pdf", "summary.pdf"])
def test_a_paper_of_a_card_is_shown_in_the_browser_and_kept_by_nobody_between(workshop, desk, name):
    answer = desk.get(f"/jobs/{workshop.card.pk}/{name}")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["Content-Disposition"].startswith("inline; filename=")
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_file_name_holds_nothing_but_plain_letters_digits_and_dashes(workshop, desk):
    workshop.trike.frame_serial = 'F/26"; ..\\Ö 1'
    workshop.trike.save()
    assert desk.get(passport(workshop))["Content-Disposition"] == 'inline; filename="passport-F-26-O-1.pdf"'


def test_the_bench_card_tells_trike_owner_complaint_task_and_number(workshop, desk):
    JobCard.objects.filter(pk=workshop.card.pk).update(complaint="It squeaks in the rain.")
    told = words_of(desk.get(paper(workshop)).content)
    for words in (
        "J25-00042",
        "F26-1040",
        "LT-310",
        "Zoë Ångström",
        "020 7946 0312",
        "It squeaks in the rain.",
        "Chain check",
    ):
        assert words in told


def test_of_the_owner_the_bench_card_tells_name_and_phone_only(workshop, desk):
    assert workshop.owner.email not in words_of(desk.get(paper(workshop)).content)


def test_the_caution_stands_before_its_task_and_the_limit_with_the_last_value_beside_the_line(workshop, desk):
    earlier = make.JobCardFactory(trike=workshop.trike, number="J25-00001", opened_at=NOW - timedelta(days=200))
    make.MeasurementFactory(card=earlier, component=workshop.chain, value=0.42, taken_at=NOW - timedelta(days=200))
    JobCard.objects.filter(pk=earlier.pk).update(state="signed", signed_at=NOW, signed_by=make.UserFactory())
    told = words_of(desk.get(paper(workshop)).content)
    assert told.index("Caution: Keep fingers clear") < told.index("Chain check") < told.index("Chain elongation")
    assert "limit 0.75 %" in told
    assert "last: 0.42 % on 13 Oct 2025" in told


def test_a_usual_bench_card_fits_one_page(workshop, desk):
    brake = carry(workshop.trike, "brake", "brake-left", "BL1")
    frame = workshop.trike.fitments.get(position="frame").component
    for component, task in (
        (brake, "brakes_check"), (frame, "toe_in_check"), (frame, "tyres_check"),
        (workshop.shock, "shock_air_check"), (workshop.chain, "chain_clean"), (frame, "lights_check"),
    ):  # fmt: skip
        make.JobTaskFactory(card=workshop.card, component=component, task=task)
    JobCard.objects.filter(pk=workshop.card.pk).update(complaint="Squeaks. " * 20)
    assert len(read(desk.get(paper(workshop)).content).pages) == 1


def test_a_signed_card_prints_what_was_done_and_by_whom(workshop, desk):
    workshop.card.tasks.update(outcome="done")
    make.MeasurementFactory(card=workshop.card, component=workshop.chain, words="0.31 % - good: limit 0.75 %.")
    signed(workshop, correction="Chain oiled.")
    told = words_of(desk.get(paper(workshop)).content)
    for words in ("Chain oiled.", "0.31 % - good", "Signed by Mika Bench, 1 May 2026", "2000 km"):
        assert words in told


def test_a_card_signed_without_a_reading_leaves_no_line_for_one_and_tells_no_distance_of_today(workshop, desk):
    open_card = words_of(desk.get(paper(workshop)).content)
    workshop.trike.readings.all().delete()
    signed(workshop)
    told = words_of(desk.get(paper(workshop)).content)
    assert "should show" in open_card
    assert "should show" not in told
    assert "Odometer in not noted" in told


def test_a_complaint_of_ten_thousand_characters_is_printed_whole_and_stays_on_the_sheet(workshop, desk):
    complaint = " ".join(f"word{n}" for n in range(1_120))[:9_990] + " theEnd."
    JobCard.objects.filter(pk=workshop.card.pk).update(complaint=complaint)
    pdf = desk.get(paper(workshop)).content
    told = words_of(pdf)
    assert all(f"word{n}" in told for n in (0, 1, 90, 500, 1_000))
    assert told.index("Chain check") < told.index("Complaint, continued") < told.index("theEnd.")
    assert max(right_edges(pdf)) < 200


@pytest.mark.parametrize("typed", ["x" * 10_000, "🚲" * 3_000, "\u202eevil " * 500, "W" * 400 + "\n" * 300])
def test_no_complaint_breaks_the_sheet(workshop, desk, typed):
    JobCard.objects.filter(pk=workshop.card.pk).update(complaint=typed)
    pdf = desk.get(paper(workshop)).content
    assert "Chain check" in words_of(pdf)
    assert max(right_edges(pdf)) < 200  # mm; the sheet ends at 210


def test_a_complaint_written_from_right_to_left_is_printed(workshop, desk):
    JobCard.objects.filter(pk=workshop.card.pk).update(complaint="שלום " * 1_500)
    assert len(read(desk.get(paper(workshop)).content).pages) == 2


def test_a_serial_that_looks_like_code_stands_on_the_card_as_it_is(workshop, desk):
    Component.objects.filter(pk=workshop.chain.pk).update(serial='#eval("1") $x$ <script>')
    assert '#eval("1") $x$ <script>' in words_of(desk.get(paper(workshop)).content)


def test_the_owners_summary_says_in_plain_words_what_was_done_and_what_is_next(workshop, desk):
    workshop.card.tasks.update(outcome="done")
    due(workshop.trike, workshop.shock, task="shock_air_can_service")
    signed(workshop)
    told = words_of(desk.get(f"/jobs/{workshop.card.pk}/summary.pdf").content)
    for words in (
        "Zoë Ångström",
        "We measured the wear of the chain.",
        "What comes next",
        "Shock air can",
        "+44 20 7946 0100",
    ):
        assert words in told


def test_the_summary_as_somebody_wrote_it_is_what_the_owner_gets(workshop, desk):
    JobCard.objects.filter(pk=workshop.card.pk).update(summary="Dear Zoë,\nall is well.\n- ride on")
    told = words_of(desk.get(f"/jobs/{workshop.card.pk}/summary.pdf").content)
    assert "all is well. – ride on" in told
    assert "We measured" not in told


def test_the_summary_counts_in_the_owners_miles(workshop, desk):
    workshop.owner.distance_unit = "mi"
    workshop.owner.save()
    signed(workshop)
    assert "1,243 mi" in words_of(desk.get(f"/jobs/{workshop.card.pk}/summary.pdf").content)  # 2,000 km, NIST SP 811


def test_the_summary_is_printed_in_the_owners_language_with_its_head_and_foot(workshop, desk):
    workshop.owner.language = "de"
    workshop.owner.save()
    paper = desk.get(f"/jobs/{workshop.card.pk}/summary.pdf").content
    told, root = words_of(paper), read(paper).trailer["/Root"]
    assert english_in(told) == set()
    for words in ("Ihr Trike: was wir gemacht haben", "Für Zoë Ångström", "Noch nicht fertig.", "Was als Nächstes kommt",
                  "Auftrag J25-00042, gedruckt am", "Seite 1 von 1", "+44 20 7946 0100"):  # fmt: skip
        assert words in told
    assert root["/Lang"].startswith("de")
    assert read(paper).metadata.title == f"Ihr Trike {workshop.trike}: was wir gemacht haben"


def test_an_unsigned_summary_says_that_it_is_not_finished(workshop, desk):
    assert "Not finished yet." in words_of(desk.get(f"/jobs/{workshop.card.pk}/summary.pdf").content)


def full_history(workshop) -> None:
    """A trike with a handover, a swap, a measured and signed card, a crash, an amendment, and a logbook."""
    handover = make.HandoverFactory(
        trike=workshop.trike, shock_pressure_kpa=1120, toe_in_mm=1.5, sag_mm=11, elastomer_grade="soft",
        second_by=None, note="Zoë wants it soft",
    )  # fmt: skip
    make.models.HandoverCheck.objects.create(handover=handover, item="Brakes hold on the ramp", passed=True)
    handover.second_by, handover.second_signed_at = make.UserFactory(), make.DELIVERED
    handover.save()
    swapped = datetime(2026, 2, 1, 12, tzinfo=UTC)
    Fitment.objects.filter(component=workshop.chain).update(
        removed_at=swapped, fate="scrapped", removal_reason="worn; Zoe rang"
    )
    fresh = make.ComponentFactory(part_type=workshop.chain.part_type, serial="K26999", state="fitted")
    make.FitmentFactory(component=fresh, trike=workshop.trike, position="chain", fitted_at=swapped)
    workshop.card.tasks.update(outcome="done")
    make.MeasurementFactory(card=workshop.card, component=workshop.chain, value=0.81)
    signed(workshop, correction="New chain for Mrs Ångström, call +44 20 7946 0312 or zoe@example.org when ready.")
    make.OccurrenceFactory(trike=workshop.trike, note="Zoë Ångström fell")
    logged(workshop.trike, 3)
    body = {"card": workshop.card.number, "text": "It was the left one, says Zoë."}
    write_logs([draft_of(workshop.trike.pk, "amendment", NOW, None, "desk", body)], NOW)


def test_the_passport_tells_the_whole_history(workshop, desk):
    full_history(workshop)
    told = words_of(desk.get(passport(workshop)).content)
    for words in (
        "F26-1040", "LT-310", "11.2 bar (162 psi)", "1.5 mm", "11 mm", "Brakes hold on the ramp", "by a second person",
        "K24000", "K26999", "worn; [left out] rang, scrapped", "Chain check", "J25-00042", "2,000 km", "0.81 %",
        "Crash or tip-over", "It was the left one, says [left out].", "entry 4",
    ):  # fmt: skip
        assert words in told, words


def test_the_passport_names_no_owner_past_or_present(workshop, desk):
    earlier = make.OwnerFactory(name="Bartholomew Quill", phone="020 7946 0777", email="bart@example.org")
    make.OwnershipFactory(trike=workshop.trike, owner=earlier, since=make.DELIVERED.date(), until=NOW.date())
    full_history(workshop)
    told = words_of(desk.get(passport(workshop)).content).casefold()
    for owner in (workshop.owner, earlier):
        for part in (*owner.name.split(), owner.email, owner.phone, owner.phone_e164 or owner.phone):
            assert part.casefold() not in told, part
    assert "zoe" not in told
    assert "78 kg" not in told  # the rider's mass is the rider's own


def test_the_life_of_a_swapped_part_is_that_at_its_removal(workshop, desk):
    full_history(workshop)
    told = words_of(desk.get(passport(workshop)).content)
    # delivered 1 May 2025, 2,000 km on 1 Apr 2026: by 1 Feb 2026, after 276 of 335 days, some 1,650 km with even riding
    assert 1_500 < float(told.split(" km K26999")[0].split()[-1].replace(",", "")) < 1_800


def code_on(pdf: bytes) -> str:
    words = words_of(pdf)
    return next(word for word in words.split() if word.count("-") == 5 and len(word) == 29)


def test_the_passports_code_is_the_head_of_its_chain_and_stands_there_as_text(workshop, desk):
    logged(workshop.trike, 5)
    head = read_code(code_on(desk.get(passport(workshop)).content))
    last = LogEntry.objects.filter(trike=workshop.trike).first()
    assert (head.trike, head.seq, head.fits(last.hash)) == (workshop.trike.pk, 5, True)


def test_a_logbook_that_does_not_hold_gets_no_code(workshop, desk):
    make.LogEntryFactory(trike=workshop.trike, seq=1)
    told = words_of(desk.get(passport(workshop)).content)
    assert "This passport carries no code. Entry 1 does not hold" in told


def test_a_trike_without_any_history_has_a_passport_too(desk):
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    told = words_of(desk.get(f"/trikes/{trike.pk}/passport.pdf").content)
    for words in ("Nothing is fitted yet.", "None on record yet.", "The logbook has no entry yet."):
        assert words in told


def test_a_stolen_trikes_passport_says_so_above_all(workshop, desk):
    workshop.trike.stolen_on = NOW.date()
    workshop.trike.save()
    told = words_of(desk.get(passport(workshop)).content)
    assert told.index("Reported stolen on 1 May 2026") < told.index("What it is built from")


def more_history(workshop, count: int) -> None:
    before = workshop.trike.job_cards.count()
    for n in range(before, before + count):
        at = NOW - timedelta(days=n + 2)
        part = make.ComponentFactory(part_type__kind="idler", state="scrapped")
        make.FitmentFactory(
            component=part, trike=workshop.trike, position="idler", fitted_at=at, removed_at=at + timedelta(hours=5)
        )
        card = make.JobCardFactory(trike=workshop.trike, worked_at=at, reading=workshop.trike.readings.first())
        make.JobTaskFactory(card=card, component=workshop.chain, outcome="done")
        make.MeasurementFactory(card=card, component=part, taken_at=at)
        make.CompletionFactory(trike=workshop.trike, component=part, done_at=at)
        make.FailureFactory(trike=workshop.trike, component=part, happened_at=at)
        JobCard.objects.filter(pk=card.pk).update(state="signed", signed_at=at, signed_by=make.UserFactory())


def test_a_longer_history_asks_no_more_queries(workshop, desk, assert_flat_queries):
    more_history(workshop, 2)
    assert_flat_queries(lambda: desk.get(passport(workshop)), lambda: more_history(workshop, 20))


def test_a_longer_card_asks_no_more_queries(workshop, desk, assert_flat_queries):
    def grow(count: int = 20) -> None:
        for _ in range(count):
            part = make.ComponentFactory(part_type__kind="chain")
            make.JobTaskFactory(card=workshop.card, component=part)
            make.MeasurementFactory(card=workshop.card, component=part)

    grow(2)
    for name in ("paper.pdf", "summary.pdf"):
        assert_flat_queries(lambda name=name: desk.get(f"/jobs/{workshop.card.pk}/{name}"), grow)


@pytest.mark.parametrize(
    "address", ["/jobs/999999/paper.pdf", "/jobs/999999/summary.pdf", "/trikes/999999/passport.pdf"]
)
def test_there_is_no_paper_of_what_does_not_exist(desk, address):
    assert desk.get(address).status_code == 404


@pytest.mark.parametrize("role", ["desk", "mechanic", "reviewer", "admin"])
def test_all_staff_may_print(workshop, role):
    assert logged_in(role, f"printer-{role}").get(passport(workshop)).status_code == 200


def test_printing_changes_nothing(workshop, desk):
    logged(workshop.trike)
    before = (LogEntry.objects.count(), Measurement.objects.count())
    desk.get(passport(workshop))
    assert (LogEntry.objects.count(), Measurement.objects.count()) == before


def test_every_paper_is_reached_from_where_it_is_wanted(workshop, desk):
    step = desk.get(f"/jobs/{workshop.card.pk}/", follow=True).content.decode()
    assert f"/jobs/{workshop.card.pk}/paper.pdf" in step
    assert f"/jobs/{workshop.card.pk}/summary.pdf" in desk.get(f"/jobs/{workshop.card.pk}/summary/").content.decode()
    signed(workshop)
    closed = desk.get(f"/jobs/{workshop.card.pk}/").content.decode()
    assert f"/jobs/{workshop.card.pk}/paper.pdf" in closed
    assert f"/jobs/{workshop.card.pk}/summary.pdf" in closed


def test_pages_have_a_sheet_for_paper(workshop, desk):
    page = desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()
    assert '<link rel="stylesheet" href="/static/tracker/print.css" media="print">' in page
