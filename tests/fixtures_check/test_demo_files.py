"""The demo workshop's files: always the same, whole, inside the anchor day, and nobody's real data."""

import re
import zipfile
from collections import Counter

import pytest

from fixtures.make_demo import main
from fixtures.maker.plan import INCLUDES, RULES
from services.kinds import all_tasks, includes_map
from services.parts import check_rated, read_table
from tests.fixtures_check.conftest import FIXTURES, day_of, serial_of

PLACES = {
    "Frame serial": "frame", "Boom motor": "boom-motor", "Battery": "battery", "Display": "display", "Rear hub": "rear-hub",
    "Chain": "chain", "Rear shock": "rear-shock", "Elastomer left": "elastomer-left", "Elastomer right": "elastomer-right",
    "Brake left": "brake-left", "Brake right": "brake-right", "Seat": "seat",
}  # fmt: skip
FILES = ("anchor.txt", "catalogue.csv", "parts.csv", "deliveries.xlsx", "odometer.csv", "service_book.csv")
# Kept free for fiction by the regulators of the United Kingdom, North America, Germany (notice 148/2021) and Sweden.
FICTION = re.compile(
    r"(44|0)(2079460\d{3}|1134960\d{3}|7700900\d{3})|1(202|303|503|617)55501\d{2}|49(3023125|4066969)\d{3}|46701740[6]\d{2}"
)


@pytest.fixture(scope="module")
def made_again(tmp_path_factory):
    """The files, made once more elsewhere."""
    folder = tmp_path_factory.mktemp("again")
    main(folder)
    return folder


@pytest.mark.parametrize("name", FILES)
def test_making_a_file_again_gives_the_same_bytes(name, made_again):
    assert (made_again / name).read_bytes() == (FIXTURES / name).read_bytes()


def test_making_the_broken_files_again_gives_the_same_bytes(made_again):
    kept = {path.name: path.read_bytes() for path in (FIXTURES / "bad").iterdir()}
    assert kept == {path.name: path.read_bytes() for path in (made_again / "bad").iterdir()}
    assert len(kept) == 9


def test_a_workbook_carries_no_clock():
    with zipfile.ZipFile(FIXTURES / "deliveries.xlsx") as book:
        assert {member.date_time for member in book.infolist()} == {(2026, 1, 1, 0, 0, 0)}
        told = book.read("docProps/core.xml").decode()
    assert re.findall(r"\d{4}-\d\d-\d\dT[\d:]+Z", told) == ["2026-01-01T00:00:00Z"] * 2


def test_there_are_about_240_trikes_2900_components_and_1300_readings(demo):
    assert 235 <= len(demo.deliveries) <= 245
    assert 2750 <= len(demo.parts) <= 3100
    assert 1150 <= len(demo.odometer) <= 1450
    assert 30 <= len(demo.catalogue) <= 40


def test_all_files_together_stay_below_two_megabytes():
    assert sum(path.stat().st_size for path in FIXTURES.rglob("*") if path.suffix in {".csv", ".xlsx"}) < 2_000_000


def test_deliveries_span_six_years_and_the_last_lies_in_the_last_weeks(demo):
    days = [day_of(row["Delivered"]) for row in demo.deliveries]
    assert 2100 < (max(days) - min(days)).days < 2200
    assert 0 <= (demo.anchor - max(days)).days < 40


def test_no_date_lies_after_the_anchor(demo):
    days = [day_of(row["Delivered"]) for row in demo.deliveries] + [day_of(row["Made on"]) for row in demo.parts]
    days += [day_of(row["Date"]) for row in [*demo.odometer, *demo.book]]
    assert max(days) <= demo.anchor


def test_no_reading_and_no_job_lies_before_the_delivery(demo):
    delivered = {serial_of(row["Frame serial"]): day_of(row["Delivered"]) for row in demo.deliveries}
    plates = {serial_of(row["Plate"]): serial_of(row["Frame serial"]) for row in demo.deliveries if row["Plate"]}
    rows = [(row["Trike"], row["Date"]) for row in demo.odometer] + [
        (row["Frame serial"], row["Date"]) for row in demo.book
    ]
    told = [(plates.get(serial_of(name), serial_of(name)), day_of(day)) for name, day in rows]
    assert [pair for pair in told if pair[1] < delivered[pair[0]]] == []


def test_every_fitted_serial_stands_in_the_parts_list(demo):
    known = {serial_of(row["Serial"]) for row in demo.parts}
    fitted = {serial_of(row[column]) for row in demo.deliveries for column in PLACES}
    fitted |= {serial_of(row[column]) for row in demo.book for column in ("Old serial", "New serial")}
    assert fitted - known - {""} == set()


def test_exactly_one_serial_stands_twice_and_its_two_rows_differ_by_blanks_only(demo):
    counts = Counter(serial_of(row["Serial"]) for row in demo.parts if row["Serial"].strip())
    twice = [serial for serial, count in counts.items() if count > 1]
    assert len(twice) == 1
    one, other = (row for row in demo.parts if serial_of(row["Serial"]) == twice[0])
    assert one["Serial"] != other["Serial"]
    assert {**one, "Serial": ""} == {**other, "Serial": ""}


def _replay(demo):
    """Where every piece sits after each swap; yields what contradicts itself."""
    seats = {
        (serial_of(row["Frame serial"]), place): serial_of(row[column])
        for row in demo.deliveries for column, place in PLACES.items() if serial_of(row[column])
    }  # fmt: skip
    yield from (f"{serial} leaves with two trikes" for serial, n in Counter(seats.values()).items() if n > 1)
    sits = set(seats.values())
    swaps = [row for row in demo.book if row["New serial"]]
    for row in sorted(swaps, key=lambda row: day_of(row["Date"])):
        seat = serial_of(row["Frame serial"]), row["Position"].strip().replace(" ", "-")
        old, new = serial_of(row["Old serial"]), serial_of(row["New serial"])
        if seats.get(seat) != old:
            yield f"{seat} holds {seats.get(seat)}, not {old}"
        sits.discard(old)
        if new in sits:
            yield f"{new} sits somewhere else"
        sits.add(new)
        seats[seat] = new


def test_every_piece_sits_in_one_place_at_a_time_when_the_swaps_are_replayed(demo):
    assert list(_replay(demo)) == []


def test_one_hub_sat_on_three_trikes(demo):
    homes = Counter()
    for row in demo.deliveries:
        homes[serial_of(row["Rear hub"])] += 1
    for row in demo.book:
        if row["New serial"] and row["Position"].replace("-", " ") == "rear hub":
            homes[serial_of(row["New serial"])] += 1
    del homes[""]
    assert homes.most_common(1)[0][1] == 3


def test_old_parts_go_to_all_four_places(demo):
    fates = {row["Old part fate"] for row in demo.book if row["New serial"]}
    assert fates == {"to stock", "returned", "scrapped", "quarantined"}


def test_rows_of_one_job_agree_on_day_and_trike(demo):
    cards = {}
    for row in demo.book:
        cards.setdefault(row["Job"], set()).add((day_of(row["Date"]), serial_of(row["Frame serial"])))
    assert [job for job, facts in cards.items() if len(facts) > 1] == []


def test_phone_numbers_come_from_ranges_kept_free_for_fiction(demo):
    phones = [row["Phone"] for row in demo.deliveries if row["Phone"]]
    digits = [re.sub(r"\D", "", phone.replace("(0)", "")).removeprefix("00") for phone in phones]
    assert len(phones) > 150
    assert [number for number in digits if not FICTION.fullmatch(number)] == []


def test_mail_goes_to_example_domains_only(demo):
    mails = [row["E-mail"] for row in demo.deliveries if row["E-mail"]]
    assert len(mails) > 200
    assert [mail for mail in mails if not re.fullmatch(r"[a-z.]+@example\.(org|com)", mail)] == []


def test_a_name_stands_for_one_address(demo):
    owners = {(row["Owner"].strip(), row["E-mail"]) for row in demo.deliveries}
    assert len({name for name, _ in owners}) == len(owners)


def test_most_owners_where_german_is_spoken_read_german_and_nobody_else_was_asked(demo):
    read = Counter((row["Time zone"], row["Language"]) for row in demo.deliveries)
    asked = {zone for zone, word in read if word}
    assert asked == {"Europe/Berlin"}
    german = sum(read[zone, word] for zone in asked for word in ("de", "Deutsch"))
    assert 0.6 < german / sum(count for (zone, _), count in read.items() if zone in asked) < 0.95
    assert len({(row["Owner"].strip(), row["Language"]) for row in demo.deliveries}) == len(
        {row["Owner"].strip() for row in demo.deliveries}
    )


def test_encodings_are_the_stated_ones():
    assert (FIXTURES / "parts.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    book = (FIXTURES / "service_book.csv").read_bytes()
    with pytest.raises(UnicodeDecodeError):
        book.decode("utf-8")
    assert "Dämpfer" in book.decode("cp1252")
    assert not (FIXTURES / "odometer.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    assert (FIXTURES / "bad" / "deliveries_utf16.csv").read_bytes()[:2] in {b"\xff\xfe", b"\xfe\xff"}


def test_delivery_dates_are_real_ones_and_three_styles_of_text(demo):
    styles = Counter(
        "real" if not isinstance(cell, str) else "-" if "-" in cell else "." if "." in cell else "words"
        for cell in (row["Delivered"] for row in demo.deliveries)
    )
    assert set(styles) == {"real", "-", ".", "words"}


def test_no_number_can_be_read_in_two_ways(demo):
    numbers = [row["Reading"] for row in demo.odometer] + [row["Odometer"] for row in demo.book]
    assert [text for text in numbers if re.fullmatch(r"\d{1,3},\d{3}", text)] == []


def test_rated_values_of_the_catalogue_are_whole(demo):
    for row in demo.catalogue:
        pairs = dict(pair.split("=") for pair in row["Rated values"].split("; ")) if row["Rated values"] else {}
        rated = {
            name: float(text) if re.fullmatch(r"[\d.]+", text) else read_table(text) for name, text in pairs.items()
        }
        assert check_rated(row["Kind"], rated).keys() == rated.keys()


def test_parts_say_nothing_else_than_the_catalogue(demo):
    known = {row["Part number"]: row for row in demo.catalogue}
    for row in demo.parts:
        line = known[row["Part number"]]
        assert (row["Kind"], row["Maker"], row["Name"]) == (line["Kind"], line["Maker"], line["Name"])
        assert row["Rated values"] in {"", line["Rated values"]}


def test_every_task_of_the_book_is_known(demo):
    known = {task.code for task in all_tasks()}
    assert {row["Task"] for row in demo.book} - known == {""}


def test_the_plan_names_only_tasks_that_exist_and_covers_what_the_kinds_cover():
    tasks = {task.code: task for task in all_tasks()}
    assert {code: rule.on for code, rule in RULES.items()} == {code: tasks[code].on for code in RULES}
    assert {code: set(covered) for code, covered in INCLUDES.items()} == {
        code: set(covered) for code, covered in includes_map().items() if covered
    }


def _leaving(demo, batch, place):
    """How many pieces of a batch were fitted, and how many of them left."""
    of_batch = {serial_of(row["Serial"]) for row in demo.parts if row["Batch"] == batch}
    fitted = {serial_of(row[column]) for row in demo.deliveries for column in PLACES} & of_batch
    left = {serial_of(row["Old serial"]) for row in demo.book if row["Position"].startswith(place)} & of_batch
    return len(fitted), len(left)


def test_the_leaking_batch_of_shocks_fails_far_more_than_the_batch_before(demo):
    bad, good = _leaving(demo, "VN38-24B", "rear"), _leaving(demo, "VN38-24A", "rear")
    assert bad[0] >= 12
    assert bad[1] / bad[0] > 0.4
    assert good[1] / good[0] < 0.15


def test_the_tired_batch_of_elastomers_is_replaced_far_more_than_the_batch_after(demo):
    bad, good = _leaving(demo, "PM65-22A", "elastomer"), _leaving(demo, "PM65-22B", "elastomer")
    assert bad[1] / bad[0] > 0.7
    assert good[1] / good[0] < 0.2


def test_displays_were_swapped_with_and_without_a_known_last_value(demo):
    notes = [row["Note"] for row in demo.odometer if "swapped" in row["Note"]]
    assert sum("old unknown" in note for note in notes) == 1
    assert all(re.fullmatch(r"display swapped, old (unknown|\d+), new 0", note) for note in notes)
    assert len(notes) >= 4


def test_one_odometer_row_stands_twice(demo):
    counts = Counter(tuple(row.values()) for row in demo.odometer)
    assert sorted(counts.values())[-2:] == [1, 2]
