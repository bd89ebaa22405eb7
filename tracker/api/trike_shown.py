"""How the API shows a trike."""

from rest_framework import serializers

from tracker.http.fields import Shown
from tracker.models import Trike


class TrikeOut(Shown):
    """A machine. Its identity is the frame serial; `owner` is the id of who owns it now.

    `stolen_on`: since when it is reported stolen, null while it is not.
    """

    owner = serializers.SerializerMethodField()

    class Meta:
        model = Trike
        fields = [
            "id", "frame_serial", "plate", "model", "state", "delivered_on", "odometer_zero_km", "severity", "owner",
            "stolen_on", "stolen_note", "retired_on", "retired_reason", "version",
        ]  # fmt: skip
        read_only_fields = fields

    def get_owner(self, row: Trike) -> int | None:
        """The present owner's id."""
        return row.now_owned[0].owner_id if row.now_owned else None
