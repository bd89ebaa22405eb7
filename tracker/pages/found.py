"""The page behind a plate label's code: the trike for staff, 'Found this trike?' for everyone else.

It tells no person, no serial, no model and not whether the trike is missed. A code that is none, or no longer in use,
answers 404 with the same words. The form needs no proof of origin: it carries nobody's rights, and under
`Referrer-Policy: no-referrer` the browser sends none.
"""

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from services.language import say
from tracker.actions.found import MOST_REACH, MOST_WORDS, tell_workshop
from tracker.http.throttles import FoundPerAddress
from tracker.models import Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.owner_door import SEE_OTHER, counted, private
from tracker.pages.roles import roles_of
from tracker.queries.labels import trike_by_label


class FoundForm(fields.Form):
    """Where it is, and how to reach who found it."""

    also = {"text": "where"}
    where = fields.words(gettext_lazy("Where is it?"), MOST_WORDS, required=True, rows=4)
    reach = fields.words(gettext_lazy("How can we reach you?"), MOST_REACH, rows=2)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["where"].error_messages = {"required": gettext_lazy("Please tell us where it is.")}
        for name in ("where", "reach"):
            self.fields[name].widget.attrs["maxlength"] = str(self.fields[name].max_length)


@private
@counted
@require_http_methods(["GET", "HEAD", "POST"])
def found(request: HttpRequest, code: str) -> HttpResponse:
    """Staff go on to the trike; anybody else may tell the workshop where it is."""
    trike = trike_by_label(code)
    if trike is None:
        return _show(request, None, status=404)
    if request.user.is_authenticated and roles_of(request):
        return redirect("trike", trike.pk)
    if request.method == "POST":
        return _take(request, trike, code)
    return _show(request, FoundForm(), said=request.GET.get("said") == "thanks")


def _take(request: HttpRequest, trike: Trike, code: str) -> HttpResponse:
    form = FoundForm(request.POST)
    throttle = FoundPerAddress()
    if form.is_valid():
        if not throttle.allow_request(request, found):
            return _too_often(request, form, throttle)
        values = form.cleaned_data
        sent = carry_out(
            form, tell_workshop, trike_id=trike.pk, where=values["where"], reach=values["reach"], now=timezone.now()
        )
        if sent is not None:
            return HttpResponseRedirect(f"{reverse('found', args=[code])}?said=thanks", status=SEE_OTHER)
    return _show(request, form, status=status_for(form))


def _too_often(request: HttpRequest, form: FoundForm, throttle: FoundPerAddress) -> HttpResponse:
    form.add_error(None, say("Several messages came from your connection within the hour. Please call us instead."))
    response = _show(request, form, status=429)
    response["Retry-After"] = str(throttle.wait())
    return response


def _show(request: HttpRequest, form: forms.Form | None, *, status: int = 200, said: bool = False) -> HttpResponse:
    return render(request, "found/page.html", {"form": form, "said": said}, status=status)


urlpatterns = [path("<str:code>/", found, name="found")]
