"""Photos of a card: taken with the tablet's camera or uploaded, looked at by staff only."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.positions import POSITIONS
from tracker.actions import photos as photo_actions
from tracker.http.uploads import dropped_files
from tracker.models import Fitment, JobCard, Photo
from tracker.pages import fields
from tracker.pages.answers import carry_out, press, status_for
from tracker.pages.release import card_or_404
from tracker.pages.roles import page
from tracker.queries.photos import photo_file, photos_of

TOO_LARGE = "This file is larger than 12 MB and was not taken in. Take the picture with a lower resolution."
KEPT = "private, max-age=86400, immutable"  # the browser of who looked may keep it for a day, nobody between us


class PhotoForm(fields.Form):
    """One picture, from the camera or from a file, with what it shows."""

    also = {"component": "component_id"}
    camera = forms.FileField(
        label="Take a picture", required=False, allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )  # fmt: skip
    file = forms.FileField(
        label="Or choose a file", required=False, allow_empty_file=True, help_text="JPEG, PNG or WebP, at most 12 MB.",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )  # fmt: skip
    component_id = fields.choice("It shows", [], required=False)
    caption = fields.text("What can be seen", 200)

    def __init__(self, card: JobCard, *args: Any, dropped: set[str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.dropped = dropped or set()
        self.fields["component_id"].choices = [("", "the trike"), *_parts(card)]

    def clean(self) -> dict[str, Any]:
        """Take the one picture that came, whichever way it came."""
        cleaned = super().clean()
        given = [name for name in ("camera", "file") if cleaned.get(name) is not None]
        for name in self.dropped & {"camera", "file"}:
            self.add_error(name, TOO_LARGE)
        if not given and not self.dropped:
            self.add_error("file", "Take a picture or choose a file.")
        if len(given) > 1:
            self.add_error("file", "One at a time: send the picture you took, then the file.")
        self.came_by = given[0] if given else "file"
        return cleaned

    def add_error(self, field: str | None, error: Any) -> None:
        """Put what is refused of the picture beside the field it came by."""
        super().add_error(getattr(self, "came_by", field) if field == "file" else field, error)

    def told(self) -> dict[str, Any]:
        """Return what the action takes."""
        cleaned = self.cleaned_data
        shows = int(cleaned["component_id"]) if cleaned["component_id"] else None
        return {"content": cleaned[self.came_by].read(), "caption": cleaned["caption"], "component_id": shows}


def _parts(card: JobCard) -> list[tuple[str, str]]:
    """The components a photo may show: what sits on the trike, and what this card puts in."""
    rows = Fitment.objects.current().filter(trike_id=card.trike_id).select_related("component")
    places = list(POSITIONS)
    parts = [
        (str(row.component_id), f"{POSITIONS[row.position].title}: {row.component}")
        for row in sorted(rows, key=lambda row: places.index(row.position))
        if row.position != "frame"
    ]
    swaps = card.swaps.filter(new_component__isnull=False).select_related("new_component")
    known = {pk for pk, _ in parts}
    new = [(str(row.new_component_id), f"New {POSITIONS[row.position].title}: {row.new_component}") for row in swaps]
    return parts + [(pk, words) for pk, words in new if pk not in known]


@page()
def photos(request: HttpRequest, card_id: int) -> HttpResponse:
    """The card's photos; add one while it is a draft."""
    card = card_or_404(card_id)
    sending = request.method == "POST"
    form = PhotoForm(card, request.POST if sending else None, request.FILES if sending else None,
                     dropped=dropped_files(request) if sending else None)  # fmt: skip
    if sending and form.is_valid():
        done = carry_out(
            form, photo_actions.add_photo, card_id=card_id, by=request.user, now=timezone.now(), **form.told()
        )
        if done is not None:
            messages.success(request, "The photo is on the card.")
            return redirect("photos", card_id)
    context = {
        "card": card, "trike": card.trike, "form": form, "photos": photos_of(card_id), "most": photo_actions.MOST_PHOTOS,
        "is_draft": card.state == JobCard.State.DRAFT,
    }  # fmt: skip
    return render(request, "desk/photos.html", context, status=status_for(form))


@page()
@require_POST
def drop(request: HttpRequest, card_id: int, photo_id: int) -> HttpResponse:
    """Take a photo off a draft."""
    card_or_404(card_id)
    press(request, photo_actions.drop_photo, card_id=card_id, photo_id=photo_id, by=request.user, now=timezone.now())
    return redirect("photos", card_id)


@page()
def photo(request: HttpRequest, photo_id: int) -> HttpResponse:
    """The picture itself: for staff who are logged in, never kept by anything between us and them."""
    row = get_object_or_404(Photo.objects.select_related("card"), pk=photo_id)
    path = photo_file(row)
    if path is None:
        raise Http404
    return HttpResponse(
        path.read_bytes(), content_type="image/jpeg",
        headers={
            "Cache-Control": KEPT, "X-Content-Type-Options": "nosniff",
            "Content-Disposition": f'inline; filename="{row.card.number}-{row.pk}.jpg"',
        },
    )  # fmt: skip
