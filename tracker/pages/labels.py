"""The plate label of a trike: looked at, printed, replaced."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.plate_label import SIZES
from tracker.actions.labels import mint_label, replace_label
from tracker.models import Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.paging import asked
from tracker.pages.roles import page
from tracker.papers.labels import label_pdf, label_svg
from tracker.queries.labels import address_of, words_of

FIRST = next(iter(SIZES))


class LabelForm(fields.Form):
    """The first label, or another one in its place."""

    version = fields.version()


@page()
def label(request: HttpRequest, trike_id: int) -> HttpResponse:
    """The label in its sizes; a trike without one gets it by a button, never by looking."""
    trike = get_object_or_404(Trike, pk=trike_id)
    form = LabelForm(fields.sent(request), initial={"version": trike.version})
    if form.is_bound and form.is_valid():
        done = _act(request, form, trike)
        if done is not None:
            messages.success(
                request, "The label is ready." if not trike.label_code else "The labels printed so far are void."
            )
            return redirect("label", trike.pk)
    context = {
        "trike": trike, "form": form, "sizes": SIZES.values(), "size": SIZES[asked(request, "size", set(SIZES)) or FIRST],
        "address": address_of(trike) if trike.label_code else "",
    }  # fmt: skip
    return render(request, "desk/label.html", context, status=status_for(form))


def _act(request: HttpRequest, form: LabelForm, trike: Trike) -> Trike | None:
    given = {"trike_id": trike.pk, "by": request.user, "now": timezone.now()}
    if request.POST.get("replace"):
        return carry_out(form, replace_label, version=form.cleaned_data["version"], **given)
    return carry_out(form, mint_label, **given)


@page()
def svg(request: HttpRequest, trike_id: int) -> HttpResponse:
    """The label as SVG, in its true size."""
    trike, size = _asked_for(request, trike_id)
    answer = HttpResponse(label_svg(size, address_of(trike), words_of(trike)), content_type="image/svg+xml")
    return _named(answer, f"label-{size}.svg")


@page()
def pdf(request: HttpRequest, trike_id: int) -> HttpResponse:
    """The label as a PDF of one page, in its true size."""
    trike, size = _asked_for(request, trike_id)
    content = label_pdf(size, address_of(trike), words_of(trike), now=timezone.now())
    return _named(HttpResponse(content, content_type="application/pdf"), f"label-{size}.pdf")


def _asked_for(request: HttpRequest, trike_id: int) -> tuple[Trike, str]:
    trike = get_object_or_404(Trike, pk=trike_id, label_code__isnull=False)
    size = request.GET.get("size", FIRST)
    if size not in SIZES:
        raise Http404
    return trike, size


def _named(answer: HttpResponse, name: str) -> HttpResponse:
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    return answer
