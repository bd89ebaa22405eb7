"""Papers over the API: the job card for the bench, the owner's summary, the service passport, as PDF."""

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from tracker.api.labels import Pdf
from tracker.http.pdf import pdf_answer
from tracker.http.roles import READ_PEOPLE, allows, sees_personal_data
from tracker.queries.card_paper import card_paper
from tracker.queries.passport import passport
from tracker.queries.summary_paper import summary_paper

PDF = {(200, "application/pdf"): OpenApiTypes.BINARY}
RENDERERS = [Pdf, JSONRenderer]  # a refusal is JSON also for who asks for PDF


def names_owners(request: Request) -> bool:
    """Whether a paper for who asks may name the owner: the role sees personal data, and a key may read owners."""
    return sees_personal_data(request) and allows(request, READ_PEOPLE)


class CardPapers:
    """Steps of the job cards' resource."""

    @extend_schema(responses=PDF)
    @action(detail=True, url_path=r"paper\.pdf", renderer_classes=RENDERERS)
    def paper(self, request: Request, pk: str) -> HttpResponse:
        """The card for the bench as PDF. The owner's name and phone stand on it only for who may read owners."""
        card = self.row(pk)
        paper = card_paper(card.pk, self.now, with_owner=names_owners(request))
        return pdf_answer("card", paper, f"job card {card}", now=self.now)

    @extend_schema(responses=PDF)
    @action(detail=True, url_path=r"summary\.pdf", renderer_classes=RENDERERS)
    def summary_paper(self, request: Request, pk: str) -> HttpResponse:
        """The summary for the owner as PDF, in the owner's units. It is addressed by name only for who may read owners."""
        card = self.row(pk)
        paper = summary_paper(card.pk, self.now, with_owner=names_owners(request))
        return pdf_answer("summary", paper, f"summary {card}", now=self.now)


class TrikePapers:
    """Steps of the trikes' resource."""

    @extend_schema(responses=PDF)
    @action(detail=True, url_path=r"passport\.pdf", renderer_classes=RENDERERS)
    def passport(self, request: Request, pk: str) -> HttpResponse:
        """The service passport as PDF: the whole history without its owners, and the head of the logbook as a code."""
        trike = self.row(pk)
        return pdf_answer("passport", passport(trike.pk, self.now), f"passport {trike}", now=self.now)
