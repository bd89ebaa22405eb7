"""Messages over the API: what was sent to owners, and what needs a person. Read only."""

import django_filters as filters
from django.db.models import QuerySet

from tracker.http.fields import Shown
from tracker.http.filters import IdFilter
from tracker.http.resource import Resource
from tracker.models import OutboxMessage


class MessageOut(Shown):
    """One message to one owner. `unknown`: a crash left it open whether it was sent."""

    class Meta:
        model = OutboxMessage
        fields = [
            "id", "kind", "stage", "trike", "owner", "visit", "channel", "message_id", "state", "not_before",
            "attempts", "last_error", "created_at", "sent_at", "bounced_at", "bounce_note",
        ]  # fmt: skip
        read_only_fields = fields


class MessageFilter(filters.FilterSet):
    """How messages can be narrowed."""

    state = filters.ChoiceFilter(choices=OutboxMessage.State.choices)
    kind = filters.CharFilter()
    trike = IdFilter(field_name="trike_id")
    owner = IdFilter(field_name="owner_id")

    class Meta:
        model = OutboxMessage
        fields: list[str] = []


class Messages(Resource):
    """The outbox, newest first."""

    resource, output, filterset_class = "messages", MessageOut, MessageFilter
    orders = ("-created_at", "created_at", "id", "-id")

    def get_queryset(self) -> QuerySet[OutboxMessage]:
        """All messages."""
        return OutboxMessage.objects.all()
