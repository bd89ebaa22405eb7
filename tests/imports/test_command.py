"""manage.py import_files: preview, then all files or nothing."""

import io

import pytest
from django.core.management import CommandError, call_command

from tests.imports.register import delivery, job, part, parts_for, reading
from tests.imports.workbooks import file_of, workbook_of
from tracker.models import Component, ImportBatch, JobCard, OdometerReading, PartType, Trike

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def folder(tmp_path):
    """Files of all five kinds, named so that their order says nothing."""
    (tmp_path / "e-catalogue.csv").write_bytes(
        file_of("catalogue", {"Part number": "LF-X", "Kind": "frame", "Name": "X"})
    )
    (tmp_path / "d-parts.csv").write_bytes(file_of("parts", *parts_for(1), delimiter=";", encoding="utf-8-sig"))
    (tmp_path / "c-trikes.xlsx").write_bytes(workbook_of("deliveries", delivery(1)))
    (tmp_path / "b-readings.csv").write_bytes(file_of("odometer", reading(1, "2025-08-01", "480")))
    (tmp_path / "a-book.csv").write_bytes(file_of("service_book", job(1, Task="chain_check"), encoding="cp1252"))
    return tmp_path


def run(*paths, **options) -> str:
    out = io.StringIO()
    call_command("import_files", *map(str, paths), stdout=out, **options)
    return out.getvalue()


def refused(*paths, **options) -> str:
    out = io.StringIO()
    with pytest.raises(CommandError) as refusal:
        call_command("import_files", *map(str, paths), stdout=out, **options)
    assert refusal.value.returncode == 1
    return out.getvalue()


def test_files_of_all_kinds_are_taken_in_the_order_they_need_each_other(folder):
    told = run(*sorted(folder.iterdir()), yes=True)
    assert told.splitlines()[-1] == "Written."
    assert [model.objects.count() for model in (Trike, JobCard, OdometerReading)] == [1, 1, 3]
    assert list(ImportBatch.objects.order_by("pk").values_list("kind", flat=True)) == [
        "catalogue", "parts", "deliveries", "odometer", "service_book",
    ]  # fmt: skip
    assert set(ImportBatch.objects.values_list("state", flat=True)) == {"applied"}


def test_without_a_yes_there_is_a_preview_and_nothing_is_written(folder):
    told = run(*folder.iterdir())
    assert "d-parts.csv" in told
    assert told.splitlines()[-1] == "Nothing was written. Add --yes to write."
    assert not ImportBatch.objects.exists()
    assert not PartType.objects.exists()


def test_one_bad_row_keeps_every_file_out_and_is_shown(folder):
    (folder / "f-parts.csv").write_bytes(file_of("parts", part("chain", "X1", State="lost")))
    told = refused(*folder.iterdir(), yes=True)
    assert "row 2 bad: State: 'lost' is not known here." in told
    assert not Component.objects.exists()
    assert not ImportBatch.objects.exists()


def test_a_file_of_no_known_kind_is_refused_with_what_it_misses(folder):
    (folder / "poems.csv").write_text("Date,Reading,Unit,Source,Note\n1,2,3,4,5\n")
    assert "misses 'Trike'" in refused(*folder.iterdir(), yes=True)
    assert not Component.objects.exists()


def test_the_kind_can_be_given(folder):
    assert "misses 'Serial'" in refused(folder / "e-catalogue.csv", kind="parts", yes=True)


def test_importing_twice_writes_nothing_more(folder):
    run(*folder.iterdir(), yes=True)
    counts = [model.objects.count() for model in (Component, Trike, JobCard, OdometerReading)]
    run(*folder.iterdir(), yes=True)
    assert [model.objects.count() for model in (Component, Trike, JobCard, OdometerReading)] == counts


def test_all_dates_move_with_the_shift(folder):
    run(*folder.iterdir(), shift_days=-10, yes=True)
    assert str(Trike.objects.get().delivered_on) == "2025-04-21"
    assert str(JobCard.objects.get().worked_at.date()) == "2025-10-24"


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(CommandError, match="No such file"):
        run(tmp_path / "nothing.csv")


def test_a_file_beyond_the_limit_is_refused_without_reading_it_all(tmp_path):
    (tmp_path / "huge.csv").write_bytes(b"x" * 9_000_000)
    assert "the limit is 5 MB" in refused(tmp_path / "huge.csv")


def test_doubtful_rows_are_shown_and_written(folder):
    (folder / "more.csv").write_bytes(file_of("odometer", reading(1, "2025-09-01", "48")))
    told = run(*folder.iterdir(), yes=True)
    assert "row 2 questioned: Reading: 48 km is" in told
    assert OdometerReading.objects.filter(verdict="suspect").count() == 1
