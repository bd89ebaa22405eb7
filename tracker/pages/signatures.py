"""The signature: a person proves once more who they are, by PIN or by password; the page where the PIN is set."""

from axes.handlers.proxy import AxesProxyHandler
from django import forms
from django.contrib import messages
from django.contrib.auth import authenticate
from django.contrib.auth.hashers import check_password
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme

from services.pins import LONGEST
from tracker.actions.people import set_pin
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.roles import ALL, page


def is_me(request: HttpRequest, form: forms.Form, remedy: str) -> bool:
    """Whether `pin` or `password` of the form is that of who is logged in; otherwise say so beside the field.

    A wrong PIN counts as a wrong password does: both lead to the same lock. A PIN never logs anybody in.
    """
    pin, password = form.cleaned_data.get("pin", ""), form.cleaned_data.get("password", "")
    if not pin and not password:
        form.add_error("pin" if request.user.pin and "pin" in form.fields else "password", "Sign with it.")
        return False
    if pin and _is_pin(request, pin):
        return True
    # a wrong PIN goes to the same door, as a password that cannot be right, so that it is counted there
    user = authenticate(request, username=request.user.get_username(), password=password or f"wrong PIN {pin}")
    if user is not None and user.pk == request.user.pk:
        return True
    name, word = ("password", "password") if password else ("pin", "PIN")
    form.add_error(name, f"This is not your {word}. {remedy}")
    return False


def _is_pin(request: HttpRequest, pin: str) -> bool:
    """Whether it is the PIN of who is logged in, and nobody has been guessing."""
    credentials = {"username": request.user.get_username()}
    if not request.user.pin or not AxesProxyHandler.is_allowed(request, credentials):
        return False
    return check_password(pin, request.user.pin)


class PinForm(fields.Form):
    """A new PIN, after the password."""

    pin = forms.CharField(
        label="New PIN", max_length=20, required=False, help_text=f"Four to {LONGEST} digits. Empty: no PIN any more.",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )  # fmt: skip
    again = forms.CharField(
        label="The same once more", max_length=20, required=False,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )  # fmt: skip
    password = forms.CharField(
        label="Your password", strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "current-password"})
    )

    def clean(self) -> dict:
        """Both must be the same."""
        cleaned = super().clean() or {}
        if cleaned.get("pin", "") != cleaned.get("again", ""):
            self.add_error("again", "The two are not the same.")
        return cleaned


@page(see=ALL, do=ALL)
def signature(request: HttpRequest) -> HttpResponse:
    """Set one's own PIN for signing, change it or give it up."""
    form = PinForm(fields.sent(request))
    if form.is_bound and form.is_valid() and _has_password(request, form):
        done = carry_out(form, set_pin, user_id=request.user.pk, pin=form.cleaned_data["pin"])
        if done is not None:
            words = (
                "Your PIN is set. It signs; it does not log in." if done.pin else "You sign with your password only."
            )
            messages.success(request, words)
            return redirect(_back(request))
    context = {"form": form, "has_pin": bool(request.user.pin), "next": request.GET.get("next", "")}
    return render(request, "desk/signature.html", context, status=status_for(form))


def _has_password(request: HttpRequest, form: PinForm) -> bool:
    user = authenticate(request, username=request.user.get_username(), password=form.cleaned_data["password"])
    if user is not None and user.pk == request.user.pk:
        return True
    form.add_error("password", "This is not your password. Nothing was changed.")
    return False


def _back(request: HttpRequest) -> str:
    """The page this one was opened from, if it is one of ours."""
    target = request.POST.get("next", "")
    safe = target.startswith("/") and url_has_allowed_host_and_scheme(target, allowed_hosts=None)
    return target if safe else "/signature/"
