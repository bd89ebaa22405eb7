"""The handover, step by step: frame, parts down the build list, owner and consent, set-up and final check, second signature."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.errors import Refusal
from services.positions import POSITIONS
from services.rider_setup import CAUTION, SAG_NOTE, SAG_TARGET
from tracker.actions.handovers import hand_over, sign_handover
from tracker.actions.trikes import register_trike
from tracker.models import BuildList, Component, Fitment, Handover, Owner, Trike, User
from tracker.pages import fields
from tracker.pages.answers import carry_out, sentence, status_for
from tracker.pages.handover_forms import FinalForm, FrameForm, SecondForm, SetUpForm
from tracker.pages.handover_steps import steps_of
from tracker.pages.roles import WRITERS, page, roles_of_user
from tracker.queries import lists
from tracker.queries.build_lists import missing_positions
from tracker.queries.bulletin_pages import open_numbers
from tracker.queries.clock import local_date
from tracker.queries.rider_setup import fitted_for_setup, proposal
from tracker.queries.search import component_by_serial


@page(see=WRITERS)
def new(request: HttpRequest) -> HttpResponse:
    """Step 1: the frame."""
    form = FrameForm(fields.sent(request))
    if form.is_bound and form.is_valid():
        frame = scanned(form, "frame_serial")
        if frame is not None:
            trike = carry_out(
                form, register_trike, frame_component_id=frame.pk, plate=form.cleaned_data["plate"],
                model=form.cleaned_data["model"], by=request.user, now=timezone.now(), source="desk",
            )  # fmt: skip
            if trike is not None:
                return redirect("handover-parts", trike.pk)
    started = Trike.objects.filter(state=Trike.State.IN_BUILD).select_related("handover").order_by("-pk")[:20]
    context = {
        "form": form, "started": started, "models": BuildList.objects.values_list("model", flat=True),
        "steps": steps_of(None, "frame"),
    }  # fmt: skip
    return render(request, "desk/handover_new.html", context, status=status_for(form))


def scanned(form: Any, name: str) -> Component | None:
    """Return the component of a scanned serial, or None with the refusal beside the field."""
    typed = form.cleaned_data[name]
    try:
        found = component_by_serial(typed)
    except Refusal as refusal:
        form.add_error(name, sentence(refusal))
        return None
    if found is None:
        form.add_error(name, "No component has this serial. Scan again, or take it into stock first.")
        form.unknown_serial = typed
    return found


@page(see=WRITERS)
def final(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Step 4: rider set-up and final check; the builder signs."""
    trike = get_object_or_404(Trike, pk=trike_id)
    asked_for = request.POST.get("owner_id") or request.GET.get("owner", "")
    owner = Owner.objects.filter(pk=asked_for).first() if asked_for.isascii() and asked_for.isdigit() else None
    looks = "look" in request.POST  # without scripts: show the proposal, sign nothing
    form = FinalForm(fields.sent(request), initial=_initial(trike, owner))
    if not looks and form.is_bound and form.is_valid() and _is_me(request, form):
        done = carry_out(
            form, hand_over, trike_id=trike.pk, built_by=request.user, by=request.user, now=timezone.now(),
            source="desk", **form.values(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Signed by the builder. Now a second person looks it over and signs.")
            return redirect("handover", done.pk)
    status = 200 if looks else status_for(form)
    context = {
        "trike": trike, "form": form, "owner": owner, "missing": missing_positions(trike), "bulletins": open_numbers(trike.pk),
        "steps": steps_of(trike, "final", owner), "handed_over": trike.state != Trike.State.IN_BUILD,
        **_proposed(trike, form if form.is_bound else SetUpForm({})),
    }  # fmt: skip
    if looks:
        form.errors.clear()
    return render(request, "desk/handover_final.html", context, status=status)


def _initial(trike: Trike, owner: Owner | None) -> dict[str, Any]:
    grades = set(fitted_for_setup(trike.pk).grades)
    return {
        "owner_id": owner.pk if owner else None, "handed_over_on": local_date(timezone.now()), "reading_km": 0,
        "pressure_unit": owner.pressure_unit if owner else "bar",
        "elastomer_grade": grades.pop() if len(grades) == 1 else "",
    }  # fmt: skip


@page(see=WRITERS)
def setup(request: HttpRequest, trike_id: int) -> HttpResponse:
    """What is proposed for the masses typed so far: a piece of the page of step 4, drawn again as somebody types."""
    trike = get_object_or_404(Trike, pk=trike_id)
    return render(request, "desk/parts/setup.html", _proposed(trike, SetUpForm(request.GET)))


def _proposed(trike: Trike, form: SetUpForm) -> dict[str, Any]:
    form.is_valid()
    set_to = form.set_to()
    found = proposal(
        trike.pk, system_kg=set_to.system_mass_kg, rider_kg=set_to.rider_mass_kg, sag_mm=set_to.sag_mm,
        pressure_kpa=set_to.shock_pressure_kpa,
    )  # fmt: skip
    return {"setup": found, "setup_caution": CAUTION, "sag_note": SAG_NOTE, "sag_target": SAG_TARGET}


def _is_me(request: HttpRequest, form: FinalForm) -> bool:
    user = authenticate(request, username=request.user.get_username(), password=form.cleaned_data["password"])
    if user is not None and user.pk == request.user.pk:
        return True
    form.add_error("password", "This is not your password. Nothing was signed.")
    return False


@page()
def handover(request: HttpRequest, handover_id: int) -> HttpResponse:
    """The as-built record: step 5, the second signature, while that is missing; then the papers."""
    row = get_object_or_404(
        Handover.objects.select_related("trike", "built_by", "second_by").prefetch_related(
            "checks", lists.present_owner("trike__ownerships")
        ),
        pk=handover_id,
    )
    me = "" if request.user.pk == row.built_by_id else request.user.get_username()
    form = SecondForm(fields.sent(request), initial={"username": me})
    if form.is_bound and form.is_valid():
        second = _second_person(request, form)
        if second is not None:
            done = carry_out(form, sign_handover, handover_id=row.pk, by=second, now=timezone.now())
            if done is not None:
                messages.success(request, f"Trike {row.trike} is delivered. Its service schedule begins.")
                return redirect("handover", row.pk)
    owner = next((o.owner for o in row.trike.now_owned), None)
    context = {
        "row": row, "trike": row.trike, "form": form, "owner": owner, "fitments": _built_with(row),
        "steps": steps_of(row.trike, "papers" if row.second_by else "second", owner),
    }  # fmt: skip
    return render(request, "desk/handover.html", context, status=status_for(form))


def _built_with(row: Handover) -> list[Fitment]:
    """What the trike carried when it was signed, in the order of the positions."""
    signed_at = row.second_signed_at or row.built_signed_at
    fitments = Fitment.objects.at(signed_at).filter(trike=row.trike).select_related("component__part_type")
    order = list(POSITIONS)
    return sorted(fitments, key=lambda fitment: order.index(fitment.position))


def _second_person(request: HttpRequest, form: SecondForm) -> User | None:
    """Whoever the name and password belong to, if they may sign; otherwise None with the reason beside the field."""
    user = authenticate(request, username=form.cleaned_data["username"], password=form.cleaned_data["password"])
    if user is None:
        form.add_error("password", "Name and password do not belong together. Nothing was signed.")
        return None
    if not roles_of_user(user) & WRITERS:
        form.add_error("username", "This person’s role does not sign handovers. Ask a mechanic, the desk or the admin.")
        return None
    return user
