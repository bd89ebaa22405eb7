"""The review to take along: as CSV, as a workbook and on paper. No owner stands in it, whoever asks."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone

from services.review.found import METRICS
from services.review.words import DIMENSION_TITLES
from tracker.http.pdf import pdf_answer
from tracker.http.tables import Table, csv_answer, xlsx_answer
from tracker.pages.paging import asked
from tracker.pages.review_shown import charts_of
from tracker.pages.roles import page
from tracker.papers.drawings import for_paper
from tracker.queries import review_tables as tables
from tracker.queries.clock import local_date
from tracker.queries.review_overview import overview
from tracker.queries.review_paper import overview_paper, part_paper
from tracker.queries.review_part import PartReview, part_review


def _named(what: str) -> str:
    return f"{what} {local_date(timezone.now()).isoformat()}"


def _findings() -> Table:
    return Table("Findings", tables.FINDINGS, tables.finding_rows(overview(timezone.now()).rows))


@page()
def overview_csv(request: HttpRequest) -> HttpResponse:
    """All findings, a row for each part type."""
    return csv_answer(_findings(), _named("failure review"))


@page()
def overview_xlsx(request: HttpRequest) -> HttpResponse:
    """The same as a workbook."""
    return xlsx_answer([_findings()], _named("failure review"))


@page()
def overview_pdf(request: HttpRequest) -> HttpResponse:
    """The overview on paper."""
    now = timezone.now()
    return pdf_answer("review", overview_paper(overview(now), now), _named("failure review"), now=now)


def _part(request: HttpRequest, part_type_id: int) -> PartReview:
    """The part type asked for, in the metric asked for. Raises Http404 where it is not in the review."""
    found = part_review(part_type_id, metric=asked(request, "metric", set(METRICS)))
    if found is None:
        raise Http404
    return found


def _lives(found: PartReview) -> Table:
    return Table(
        "Lives", tables.with_unit(tables.LIVES, found.metric),
        tables.life_rows(found.part_type, found.metric, timezone.now()),
    )  # fmt: skip


@page()
def part_csv(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """The lives of one part type, survivors too: what everything said of it rests on."""
    found = _part(request, part_type_id)
    return csv_answer(_lives(found), _named(f"lives {found.part_type.part_number}"))


@page()
def failures_csv(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """The failures of one part type."""
    found = _part(request, part_type_id)
    rows = tables.failure_rows(found.part_type, timezone.now())
    return csv_answer(Table("Failures", tables.FAILURES, rows), _named(f"failures {found.part_type.part_number}"))


@page()
def part_xlsx(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """One part type as a workbook: reasons, groups, months, lives, failures."""
    found = _part(request, part_type_id)
    groups = [[DIMENSION_TITLES.get(str(row[0]), row[0]), *row[1:]] for row in tables.group_rows(found.comparisons)]
    sheets = [
        Table("Reasons", tables.REASONS, tables.reason_rows(found)),
        Table("Groups", tables.with_unit(tables.GROUPS, found.metric), groups),
        Table("Months", tables.MONTHS, tables.month_rows(found)),
        _lives(found),
        Table("Failures", tables.FAILURES, tables.failure_rows(found.part_type, timezone.now())),
    ]
    return xlsx_answer(sheets, _named(f"review {found.part_type.part_number}"))


@page()
def part_pdf(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """One part type on paper, with its charts."""
    found, now = _part(request, part_type_id), timezone.now()
    drawn = charts_of(found)
    drawings = [(drawn[name].title, drawn[name].told, for_paper(drawn[name].drawing))
                for name in ("survival", "repairs", "months") if name in drawn]  # fmt: skip
    paper = part_paper(found, drawings, tables.failure_rows(found.part_type, now), now)
    return pdf_answer("review_part", paper, _named(f"review {found.part_type.part_number}"), now=now)
