"""The printing itself: what is typed stays text, the file is tagged, and any character prints."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
import typst

from tests.papers.reading import read, words_of
from tracker.papers.printing import print_paper, written_out
from tracker.papers.squares import square

NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
HOSTILE = (
    '#eval("1") $x$ <script>alert(1)</script> #import "/etc/passwd" \\ *b* _i_ `r` @ref // c /* d */ "quoted" [a] {b}'
)
SUMMARY = {
    "title": "Your trike F26-1040: what we did", "lang": "en", "region": "gb", "paging": "Page {page} of {pages}",
    "printed": "Job card J26-00042, printed 1 May 2026, 11:00",
    "workshop": {"name": "Larkfen Trikeworks", "phone": "+44 20 7946 0100", "email": "service@larkfen.example.org"},
    "number": "J26-00042", "on": "1 May 2026", "is_draft": False, "is_cancelled": False,
    "trike": {"serial": "F26-1040", "model": "Fenrunner", "plate": "LT-310"}, "owner": "Zoë Ångström",
    "blocks": [], "ahead": [], "words": dict.fromkeys(("heading", "for", "trike", "plate", "day", "card", "draft", "draft_more",
                                                       "cancelled", "cancelled_more", "next", "no_next", "call"), "words"),
}  # fmt: skip


def printed(*lines: str, **changes) -> bytes:
    blocks = [{"lines": list(lines), "is_list": False}]
    return print_paper("summary", SUMMARY | {"blocks": blocks} | changes, now=NOW, system_fonts=False)


def test_what_is_typed_prints_as_typed_and_is_never_run():
    assert HOSTILE in words_of(printed(HOSTILE))


def test_a_serial_that_looks_like_code_prints_as_it_stands():
    serial = '#eval("1") $x$ <script>'
    assert serial in words_of(printed(trike={"serial": serial, "model": "", "plate": ""}))


def test_the_file_is_tagged_and_says_its_title_and_language():
    root = read(printed("Good.")).trailer["/Root"]
    assert "/StructTreeRoot" in root
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert read(printed("Good.")).metadata.title == SUMMARY["title"]


def test_the_file_claims_the_standard_for_people_who_cannot_see_it():
    # ISO 14289-1: the identification schema in the file's metadata, part 1
    metadata = read(printed("Good.")).trailer["/Root"]["/Metadata"].get_data().decode()
    assert "pdfuaid" in metadata
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata


def test_every_page_is_a4_with_its_number():
    pages = read(printed(*["A line that takes its place."] * 120)).pages
    assert len(pages) > 1
    for number, page in enumerate(pages, 1):
        # ISO 216: 210 x 297 mm
        assert (round(page.mediabox.width * 25.4 / 72), round(page.mediabox.height * 25.4 / 72)) == (210, 297)
        assert f"Page {number} of {len(pages)}" in page.extract_text()


def test_the_fonts_are_inside():
    fonts = [
        font.get_object() for page in read(printed("Good.")).pages for font in page["/Resources"]["/Font"].values()
    ]
    inner = [part.get_object()["/FontDescriptor"] for font in fonts for part in font["/DescendantFonts"]]
    assert inner
    assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor) for descriptor in inner)


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("rides well 🚲 thanks", "rides well [bicycle] thanks"),
        ("李 rang", "[U+674E] rang"),
        ("a\u200bb and c\u00add", "a"),
        ("turned \u202eback", "turned [U+202E]back"),
        ("Ωμέγα, Привет, Łódź, ₂ € → ✓ ñ", "Ωμέγα, Привет, Łódź, ₂ € → ✓ ñ"),
    ],
)
def test_any_character_prints_or_is_written_out(typed, shown):
    assert shown in words_of(printed(typed))


@pytest.mark.parametrize("typed", ["שלום עולם", "مرحبا بالعالم", "👩‍🔧👨‍👩‍👧‍👦🏳️‍🌈", "\U000e0001\ufffd\u0378", "Z͑ͫ̓ͪ̂ͫ̽͏̴̙̤̞͉͚̯̞̠͍A̴̵̜̰͔ͫ͗͢"])
def test_no_writing_keeps_a_paper_from_being_printed(typed):
    assert "Good." in words_of(printed(typed, "Good."))


def test_a_picture_is_named_a_letter_coded_and_the_unseen_dropped():
    assert [written_out(character) for character in "🚲李\u0378\u2028"] == ["[bicycle]", "[U+674E]", "", ""]


def test_a_template_that_does_not_fit_its_data_says_so():
    with pytest.raises(typst.TypstError):
        print_paper("summary", {"title": "x"}, now=NOW)


def test_several_people_print_at_once():
    with ThreadPoolExecutor(8) as people:
        papers = list(people.map(lambda n: printed(f"Paper {n}."), range(16)))
    assert all(f"Paper {n}." in words_of(paper) for n, paper in enumerate(papers))


def test_the_same_paper_is_the_same_file():
    assert printed("Good.") == printed("Good.")


def test_a_square_is_an_svg_without_a_size_of_its_own():
    drawn = square("J26-00042")
    assert drawn.startswith("<svg")
    assert "viewBox" in drawn
    assert "width=" not in drawn.split(">")[0]
