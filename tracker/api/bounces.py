"""Bounces over the API: what a mail provider's webhook tells about a letter of ours."""

import hashlib

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from services.bounces import Kind, Returned
from tracker.actions.bounces import Noted, note_bounce
from tracker.api.messages import MessageOut
from tracker.http.fields import Body, Choice, Moment, Text
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.models import OutboxMessage


class BounceOut(serializers.Serializer):
    """What became of a report. `message` is null where it speaks of no letter of ours; `stopped`: mail to its owner
    stopped because of this report."""

    message = serializers.IntegerField(source="message.pk", default=None, allow_null=True, read_only=True)
    kind = serializers.ChoiceField(choices=[kind.value for kind in Kind], read_only=True)
    stopped = serializers.BooleanField(read_only=True)


class NewBounce(Body):
    """A report about one letter. A hard one stops the address at once; three soft ones within 72 hours do as well."""

    message_id = Text(max_length=120, help_text="The letter's Message-ID, with or without its angle brackets.")
    kind = Choice(choices=[kind.value for kind in Kind])
    status = serializers.RegexField(
        r"^[245]\.\d{1,3}\.\d{1,3}$", required=False, help_text="The status of RFC 3463, for instance 5.1.1."
    )
    note = Text(max_length=1000, required=False, allow_blank=True)
    happened_at = Moment(required=False)


class Bounces(Resource):
    """Letters that came back."""

    resource, output = "bounces", MessageOut
    orders = ("-bounced_at", "bounced_at", "id", "-id")

    def get_queryset(self) -> QuerySet[OutboxMessage]:
        """Messages that came back."""
        return OutboxMessage.objects.filter(bounced_at__isnull=False)

    @extend_schema(request=NewBounce, responses={200: BounceOut})
    def create(self, request: Request) -> HttpResponse:
        """Note that a letter came back. The same report again counts once, with or without an Idempotency-Key."""
        values = self.read(NewBounce)
        name = f"<{values['message_id'].strip().strip('<>')}>"
        told = [
            name,
            values["kind"],
            values.get("status", ""),
            values.get("note", ""),
            str(values.get("happened_at", "")),
        ]
        report = hashlib.sha256("\n".join(told).encode()).hexdigest()[:16]
        returned = Returned(Kind(values["kind"]), told[2], note=told[3], message_ids=(name,))
        return self.once(lambda: _made(note_bounce(returned=returned, report=report, now=self.now)))


def _made(noted: Noted) -> Made:
    return Made(BounceOut(noted).data, 200)
