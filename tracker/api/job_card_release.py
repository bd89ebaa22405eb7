"""What stands beside a job card over the API: test ride and release, photos, the summary for the owner."""

from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from services.release import DEFERS
from services.summary import LONGEST
from tracker.actions import photos as photo_actions
from tracker.actions import release as release_actions
from tracker.actions import summaries as summary_actions
from tracker.api.job_card_parts import JobCardOut
from tracker.api.messages import MessageOut
from tracker.http.etags import demanded_version, etag_of
from tracker.http.fields import Body, Moment, Shown, Text, YesNo
from tracker.http.idempotency import Made
from tracker.http.parsing import PhotoParser
from tracker.http.resource import id_of
from tracker.models import JobCard, Photo
from tracker.queries.photos import photos_of
from tracker.queries.release import release_of
from tracker.queries.summaries import owner_summary

PHOTO_ID = OpenApiParameter("photo_id", int, OpenApiParameter.PATH)
IF_MATCH = OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, required=True)


class ReleaseLineOut(serializers.Serializer):
    """One line of the checklist: what must be true for it to pass."""

    code = serializers.CharField()
    words = serializers.CharField()


class ReleaseAreaOut(serializers.Serializer):
    """One area that the card's work touches, because of which work, with the usual cautions."""

    code = serializers.CharField(source="area.code")
    title = serializers.CharField(source="area.title")
    because = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(source="area.cautions", child=serializers.CharField())
    lines = ReleaseLineOut(source="area.lines", many=True)


class ReleaseAnswerOut(serializers.Serializer):
    """A line as it was answered."""

    code = serializers.CharField(source="line.code")
    words = serializers.CharField(source="line.words")
    passed = serializers.BooleanField()
    note = serializers.CharField()


class ReleaseOut(serializers.Serializer):
    """The release of a card: what is demanded, what was answered, by whom, for which work."""

    state = serializers.ChoiceField(choices=["not_demanded", "missing", "outdated", "signed"])
    areas = ReleaseAreaOut(source="demands", many=True)
    lines = ReleaseLineOut(many=True)
    answers = ReleaseAnswerOut(many=True)
    released_for = serializers.ListField(source="released", child=serializers.CharField())
    uncovered = serializers.ListField(
        child=serializers.CharField(), help_text="Work added after the release was signed: it wants a new one."
    )
    released_at = Moment(source="at", allow_null=True)
    released_by = serializers.IntegerField(source="by.pk", allow_null=True, default=None)
    defers_to = serializers.SerializerMethodField()

    def get_defers_to(self, row: Any) -> str:
        """What comes before this checklist."""
        return DEFERS


class ReleaseAnswerIn(Body):
    """What was found at one line."""

    passed = YesNo()
    note = Text(max_length=200, allow_blank=True, default="")


class NewRelease(Body):
    """The answers by code of their line: every line that is asked for, no other."""

    answers = serializers.DictField(child=ReleaseAnswerIn())


class PhotoOut(Shown):
    """A photo of a card. The picture itself lies at `address`, for staff who are logged in."""

    address = serializers.SerializerMethodField()

    class Meta:
        model = Photo
        fields = [
            "id", "component", "caption", "sha256", "width", "height", "size_bytes", "added_at", "added_by", "address",
        ]  # fmt: skip
        read_only_fields = fields

    def get_address(self, row: Photo) -> str:
        """Where the picture lies."""
        return f"/photos/{row.pk}/"


class NewPhoto(Body):
    """A JPEG, PNG or WebP of at most 12 MB and 40 million pixels; kept as a smaller JPEG without metadata."""

    file = serializers.FileField(max_length=200, allow_empty_file=True)
    caption = Text(max_length=200, allow_blank=True, default="")
    component = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class SummaryOut(serializers.Serializer):
    """What the owner reads about a card: in the workshop's own words or as proposed; and what comes next."""

    text = serializers.CharField()
    proposed = serializers.CharField()
    is_written = serializers.BooleanField()
    ahead = serializers.ListField(child=serializers.CharField())
    message = serializers.IntegerField(source="message.pk", allow_null=True, default=None)


class NewSummary(Body):
    """The summary in one's own words; empty: as proposed."""

    text = Text(max_length=LONGEST, allow_blank=True)


class ReleaseSteps:
    """Test ride and release of a card."""

    @extend_schema(responses=ReleaseOut)
    @action(detail=True, methods=["get"])
    def release(self, request: Request, pk: str) -> Response:
        """What the card's work demands, because of which work, and the release signed so far."""
        card = self.row(pk)
        return Response(ReleaseOut(release_of(card)).data, headers={"ETag": etag_of(card.version)})

    @extend_schema(request=NewRelease, responses=JobCardOut)
    @release.mapping.post
    def sign_release(self, request: Request, pk: str) -> HttpResponse:
        """Sign the release: every line that is asked for answered and passed. The card cannot be signed before."""
        answers = {
            code: release_actions.LineAnswer(answer["passed"], answer["note"])
            for code, answer in self.read(NewRelease)["answers"].items()
        }
        return self.versioned(pk, release_actions.sign_release, answers=answers)

    @extend_schema(request=None, responses={200: JobCardOut})
    @release.mapping.delete
    def take_back_release(self, request: Request, pk: str) -> HttpResponse:
        """Take a signed release back: something was found after all."""
        return self.versioned(pk, release_actions.take_back_release)


class PhotoSteps:
    """Photos of a card."""

    def get_parsers(self) -> list[BaseParser]:
        """Photos come in at one address and nowhere else."""
        method = self.request.method.lower() if self.request else ""
        step = getattr(self, "action_map", {}).get(method) or getattr(self, "action", "")
        return [PhotoParser()] if step == "add_photo" else super().get_parsers()

    @extend_schema(responses=PhotoOut(many=True))
    @action(detail=True, methods=["get"])
    def photos(self, request: Request, pk: str) -> Response:
        """The card's photos, in the order they were taken in: at most 20."""
        return Response(PhotoOut(photos_of(self.row(pk).pk), many=True).data)

    @extend_schema(request={"multipart/form-data": NewPhoto}, responses={201: PhotoOut})
    @photos.mapping.post
    def add_photo(self, request: Request, pk: str) -> HttpResponse:
        """Put a photo on a draft. The same picture again changes nothing."""
        card, values = self.row(pk), self.read(NewPhoto)
        picture = photo_actions.encoded_anew(values["file"].read())

        def work() -> Made:
            photo = photo_actions.keep_photo(
                card_id=card.pk, picture=picture, caption=values["caption"], component_id=values.get("component"),
                by=self.person, now=self.now,
            )  # fmt: skip
            return self.made(photo, 201, PhotoOut)

        return self.once(work)

    @extend_schema(request=None, responses={200: JobCardOut}, parameters=[PHOTO_ID])
    @action(detail=True, methods=["delete"], url_path=r"photos/(?P<photo_id>[^/.]+)")
    def drop_photo(self, request: Request, pk: str, photo_id: str) -> HttpResponse:
        """Take a photo off a draft."""
        photo = self.row(pk).photos.filter(pk=id_of(photo_id)).first()
        if photo is None:
            raise Http404
        return self.step(pk, photo_actions.drop_photo, photo_id=photo.pk)


class SummarySteps:
    """The summary for the owner."""

    @extend_schema(responses=SummaryOut)
    @action(detail=True, methods=["get"])
    def summary(self, request: Request, pk: str) -> Response:
        """What the owner reads, in the owner's units."""
        return self.summary_of(self.row(pk))

    def summary_of(self, card: JobCard) -> Response:
        """Answer with the summary of a card, under the card's entity tag."""
        return Response(SummaryOut(owner_summary(card, self.now)).data, headers={"ETag": etag_of(card.version)})

    @extend_schema(request=NewSummary, responses=SummaryOut, parameters=[IF_MATCH])
    @summary.mapping.put
    def write_summary(self, request: Request, pk: str) -> Response:
        """Put the summary of a draft into one's own words."""
        card = self.row(pk)
        version = demanded_version(request, card.version)
        text = self.read(NewSummary)["text"]
        summary_actions.write_summary(card_id=card.pk, version=version, text=text, by=self.person, now=self.now)
        return self.summary_of(self.row(pk))

    @extend_schema(request=None, responses={200: MessageOut})
    @action(detail=True, methods=["post"], url_path="summary/mail")
    def mail_summary(self, request: Request, pk: str) -> HttpResponse:
        """Mail the summary of a signed card to its owner. Asked for again, the same message is told and nothing more happens."""
        card = self.row(pk)

        def work() -> Made:
            message = summary_actions.mail_summary(card_id=card.pk, by=self.person, now=self.now)
            return self.made(message, 200, MessageOut)

        return self.once(work)
