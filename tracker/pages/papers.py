"""Papers to print: the job card for the bench, the owner's summary, the service passport; and the check of a passport's code."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from services.chain_code import BadCode
from tracker.http.pdf import pdf_answer
from tracker.pages import fields
from tracker.pages.answers import refuse, status_for
from tracker.pages.roles import page
from tracker.queries.card_paper import card_paper
from tracker.queries.passport import passport
from tracker.queries.passport_code import check_code
from tracker.queries.summary_paper import summary_paper

LONGEST_CODE = 400  # characters: a scanner types the whole address that the square holds


@page()
def card(request: HttpRequest, card_id: int) -> HttpResponse:
    """The job card for the bench."""
    now = timezone.now()
    paper = card_paper(card_id, now)
    return pdf_answer("card", paper, f"job card {paper['number']}" if paper else "", now=now)


@page()
def summary(request: HttpRequest, card_id: int) -> HttpResponse:
    """The summary for the owner."""
    now = timezone.now()
    paper = summary_paper(card_id, now)
    return pdf_answer("summary", paper, f"summary {paper['number']}" if paper else "", now=now)


@page()
def trike_passport(request: HttpRequest, trike_id: int) -> HttpResponse:
    """The service passport of a trike."""
    now = timezone.now()
    paper = passport(trike_id, now)
    return pdf_answer("passport", paper, f"passport {paper['trike']['serial']}" if paper else "", now=now)


class CodeForm(fields.Form):
    """The code of a passport."""

    code = fields.text(
        "Code on the passport", LONGEST_CODE, required=True, autocomplete="off", autocapitalize="characters",
        spellcheck="false", **{"class": "scan"},
        help_text="Six groups of four, with or without dashes. Or scan the square beside it.",
    )  # fmt: skip


@page()
def check_passport(request: HttpRequest) -> HttpResponse:
    """Hold the code of a passport against the logbook. It reads only, so it is asked by GET and can be scanned."""
    form = CodeForm(request.GET if "code" in request.GET else None)
    answer = None
    if form.is_bound and form.is_valid():
        try:
            answer = check_code(form.cleaned_data["code"])
        except BadCode as refusal:
            refuse(form, refusal)
    return render(request, "desk/check_passport.html", {"form": form, "answer": answer}, status=status_for(form))
