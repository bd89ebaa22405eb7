"""The plate label of a trike over the API: made once, fetched as SVG or PDF in its true size."""

from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from services.plate_label import SIZES
from tracker.actions.labels import mint_label
from tracker.api.trike_shown import TrikeOut
from tracker.http.idempotency import Made
from tracker.http.problems import Problem
from tracker.models import Trike
from tracker.papers.labels import label_pdf, label_svg
from tracker.queries.labels import address_of, words_of

SIZE = OpenApiParameter(
    "size", enum=list(SIZES), description="Width by height in mm; without it the first of the list."
)


class Svg(BaseRenderer):
    """For callers who ask for SVG by name."""

    media_type, format = "image/svg+xml", "svg"

    def render(self, data: Any, *args: Any, **kwargs: Any) -> Any:
        """Return what was drawn."""
        return data


class Pdf(Svg):
    """For callers who ask for PDF by name."""

    media_type, format, charset = "application/pdf", "pdf", None


class Labels:
    """Steps of the trikes' resource."""

    @extend_schema(request=None, responses=TrikeOut)
    @action(detail=True, methods=["post"], url_path="label")
    def make_label(self, request: Request, pk: str) -> HttpResponse:
        """Give it its label's random code; one that has it keeps it."""
        row = self.row(pk)

        def work() -> Made:
            mint_label(trike_id=row.pk, by=self.person, now=self.now)
            return self.made(self.row(pk), 200)

        return self.once(work)

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR}, parameters=[SIZE])
    @action(detail=True, url_path=r"label\.svg", renderer_classes=[Svg, JSONRenderer], extra_parameters=("size",))
    def label_svg(self, request: Request, pk: str) -> HttpResponse:
        """The label as SVG: QR code with its quiet zone, plate, telephone. 404 until it is made."""
        row, size = self._labelled(pk)
        return HttpResponse(label_svg(size, address_of(row), words_of(row)), content_type=Svg.media_type)

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY}, parameters=[SIZE])
    @action(detail=True, url_path=r"label\.pdf", renderer_classes=[Pdf, JSONRenderer], extra_parameters=("size",))
    def label_pdf(self, request: Request, pk: str) -> HttpResponse:
        """The label as a PDF of one page in its true size. 404 until it is made."""
        row, size = self._labelled(pk)
        content = label_pdf(size, address_of(row), words_of(row), now=self.now)
        return HttpResponse(content, content_type=Pdf.media_type)

    def _labelled(self, pk: str) -> tuple[Trike, str]:
        row, size = self.row(pk), self.request.query_params.get("size", next(iter(SIZES)))
        if size not in SIZES:
            raise Problem("bad-query", f"size is one of {', '.join(SIZES)}.")
        if not row.label_code:
            raise Http404
        return row, size
