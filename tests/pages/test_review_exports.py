"""What a reviewer takes along, opened again: numbers as numbers, days as days, no formula, no owner; the paper on A4."""

import csv
import io
import re
from datetime import UTC, date, datetime

import openpyxl
import pytest
from pypdf import PdfReader

from services.review.observed import PartLives
from tests import factories as make
from tests.pages.reviewed import Reviewed, fleet
from tracker.models import Failure, JobCard
from tracker.papers.drawings import for_paper
from tracker.spreadsheets.opening import open_sheet

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
BAD_WORDS = '=HYPERLINK("http://example.org")'


@pytest.fixture
def found() -> Reviewed:
    return fleet(NOW)


def content(client, address: str, kind: str) -> bytes:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith(kind)
    assert "filename=" in answer["Content-Disposition"]
    return answer.content


def rows_of(client, address: str) -> list[dict[str, str]]:
    text = content(client, address, "text/csv").decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def sheets(client, address: str):
    return openpyxl.load_workbook(io.BytesIO(content(client, address, "application/vnd.openxml")))


def paper(client, address: str) -> tuple[PdfReader, str]:
    reader = PdfReader(io.BytesIO(content(client, address, "application/pdf")))
    return reader, re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


def part(found: Reviewed, name: str) -> str:
    return f"/review/{found.part_type.pk}/{name}"


def test_the_overview_as_a_table_in_the_order_of_evidence(desk, found):
    rows = rows_of(desk, "/review/review.csv")
    assert [row["Rank"] for row in rows] == ["1", "2", "3"]
    assert rows[0]["Part number"] == "SH-1"
    assert (rows[0]["Failed"], rows[0]["Watched"]) == ("11", "24")
    assert float(rows[0]["Exposure (in its unit)"]) > 10_000


def test_numbers_are_numbers_and_days_are_days_in_a_workbook(desk, found):
    book = sheets(desk, part(found, "review.xlsx"))
    assert book.sheetnames == ["Reasons", "Groups", "Months", "Lives", "Failures"]
    lives = list(book["Lives"].iter_rows(values_only=True))
    head = {title: at for at, title in enumerate(lives[0])}
    assert len(lives) == 1 + 24
    assert head.keys() >= {"Serial", "Watched until (km)", "Failed"}
    assert isinstance(lives[1][head["Watched until (km)"]], float)
    assert lives[1][head["Made on"]] == datetime(2025, 1, 15)
    assert book["Lives"].cell(2, head["Made on"] + 1).number_format == "yyyy-mm-dd"
    assert sum(row[head["Failed"]] == "yes" for row in lives[1:]) == 11


def test_the_lives_are_those_of_the_review(desk, found):
    from tracker.queries.review_ground import read_ground
    from tracker.queries.review_lives import fleet_lives

    whole: PartLives = next(
        one for one in fleet_lives(read_ground(date(2026, 5, 1)), "km") if one.part_type == found.part_type.pk
    )
    told = rows_of(desk, part(found, "lives.csv"))
    assert [float(row["Watched until (km)"]) for row in told] == pytest.approx(whole.end.tolist())


@pytest.mark.parametrize("name", ["lives.csv", "failures.csv", "review.xlsx"])
def test_our_own_reader_opens_the_tables_again(desk, found, name):
    sheet = open_sheet(desk.get(part(found, name)).content)
    assert len(sheet.rows) > 0
    assert sheet.header[0] in {"Serial", "Failed on", "Kind"}


def test_what_looks_like_a_formula_is_text_in_every_table(desk, found):
    JobCard.objects.update(complaint=BAD_WORDS, cause="+44", correction="@SUM(A1)")
    Failure.objects.update(note="-1")
    csv_rows = rows_of(desk, part(found, "failures.csv"))
    assert {row["Complaint"][:2] for row in csv_rows} == {"'="}
    book = sheets(desk, part(found, "review.xlsx"))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert not [cell for cell in cells if isinstance(cell.value, str) and cell.value[:1] in "=+-@"]


def test_no_owner_stands_in_what_is_taken_along(desk, found):
    for trike in found.trikes:
        owner = make.OwnerFactory(name="Quentin Averlot", phone="020 7946 0312", email="quentin@example.org")
        make.OwnershipFactory(trike=trike, owner=owner)
    JobCard.objects.update(complaint="Mr Averlot says it sinks; ring 020 7946 0312 or quentin@example.org.")
    told = content(desk, part(found, "failures.csv"), "text/csv").decode()
    told += str(
        [row for sheet in sheets(desk, part(found, "review.xlsx")) for row in sheet.iter_rows(values_only=True)]
    )
    told += paper(desk, part(found, "review.pdf"))[1]
    assert "it sinks" in told
    assert not re.search("Averlot|020 7946|quentin", told)


def test_the_overview_on_paper_says_what_to_do(desk, found):
    reader, told = paper(desk, "/review/review.pdf")
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [595, 842]  # A4 in points: ISO 216
    assert "Failure review" in told
    assert "Air shock, one" in told
    assert "11 of 24" in told


def test_a_part_type_on_paper_has_its_charts_and_cases(desk, found):
    reader, told = paper(desk, part(found, "review.pdf"))
    assert "Groups against the rest" in told
    assert "K24" in told
    assert "Rod seal rolled." in told
    assert "of its life" in told  # the axis of the drawn curve
    assert reader.metadata.title == "Failure review: Air shock, one"


@pytest.mark.parametrize("name", ["lives.csv", "failures.csv", "review.xlsx", "review.pdf"])
def test_a_part_type_without_a_review_has_nothing_to_take(desk, name):
    assert desk.get(f"/review/{make.PartTypeFactory().pk}/{name}").status_code == 404


def test_without_a_review_the_overview_is_an_empty_table(desk):
    assert rows_of(desk, "/review/review.csv") == []
    assert "Nothing was reckoned yet." in paper(desk, "/review/review.pdf")[1]


def test_who_has_no_role_takes_nothing(db):
    from tests.pages.conftest import logged_in

    assert logged_in("").get("/review/review.csv").status_code == 404


def test_a_drawing_for_paper_is_the_wide_one_with_its_own_styles():
    wide = '<svg class="chart wide" viewBox="0 0 9 9"><title id="a">x</title><path class="line" d="M0 0"/></svg>'
    drawing = f'{wide}<svg class="chart narrow"></svg>'
    told = for_paper(drawing)
    assert told.startswith('<svg class="chart wide" viewBox="0 0 9 9" xmlns="http://www.w3.org/2000/svg"><style>')
    assert "title" not in told
    assert "narrow" not in told
    assert for_paper("") == ""
