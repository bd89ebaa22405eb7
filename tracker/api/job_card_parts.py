"""What goes into a job card and what is told of it."""

from rest_framework import serializers

from services.failures import CAUSES, FOUND, MODES
from services.kinds import all_kinds
from services.positions import POSITIONS
from tracker.api.fitments import FATES
from tracker.http.fields import Body, Choice, Id, Number, Shown, Text, Whole, YesNo
from tracker.models import Failure, JobCard, JobTask, Measurement, OdometerReading, Swap
from tracker.queries.due import title_of

LONG = {"max_length": 10_000, "allow_blank": True}
QUANTITIES = sorted(quantity.code for kind in all_kinds() for quantity in kind.quantities)


class OdometerOut(Shown):
    """The reading on the card."""

    value = serializers.FloatField(read_only=True)

    class Meta:
        model = OdometerReading
        fields = ["id", "value", "unit", "km", "verdict", "reason"]
        read_only_fields = fields


class JobTaskOut(Shown):
    """A task on the card and what came of it."""

    title = serializers.SerializerMethodField()

    class Meta:
        model = JobTask
        fields = ["id", "component", "task", "title", "outcome", "note", "not_affected"]
        read_only_fields = fields

    def get_title(self, row: JobTask) -> str:
        """The task in the trade's words."""
        return title_of(row.task)


class MeasurementOut(Shown):
    """A measured value and what it means, in `words`."""

    context = serializers.DictField(read_only=True)

    class Meta:
        model = Measurement
        fields = ["id", "component", "quantity", "value", "context", "instrument", "level", "words", "taken_at"]
        read_only_fields = fields


class SwapOut(Shown):
    """Out and in at one position."""

    class Meta:
        model = Swap
        fields = ["id", "position", "old_component", "new_component", "fate", "reason"]
        read_only_fields = fields


class FailureOut(Shown):
    """A component that failed."""

    class Meta:
        model = Failure
        fields = ["id", "component", "mode", "cause", "found", "warranty", "happened_at", "note"]
        read_only_fields = fields


class JobCardOut(Shown):
    """A job card, whole."""

    frame_serial = serializers.CharField(source="trike.frame_serial", read_only=True)
    odometer = OdometerOut(source="reading", read_only=True, allow_null=True)
    tasks = JobTaskOut(many=True, read_only=True)
    measurements = MeasurementOut(many=True, read_only=True)
    swaps = SwapOut(many=True, read_only=True)
    failures = FailureOut(many=True, read_only=True)

    class Meta:
        model = JobCard
        fields = [
            "id", "number", "trike", "frame_serial", "state", "opened_at", "opened_by", "worked_at", "odometer",
            "complaint", "cause", "correction", "minutes", "tasks", "measurements", "swaps", "failures", "released_at",
            "released_by", "signed_at", "signed_by", "version",
        ]  # fmt: skip
        read_only_fields = fields


class OpenCard(Body):
    """A trike comes in."""

    trike = Id()
    complaint = Text(**LONG, default="")


class CardChange(Body):
    """The words of a draft."""

    complaint = Text(**LONG, required=False)
    cause = Text(**LONG, required=False)
    correction = Text(**LONG, required=False)
    minutes = Whole(min_value=0, max_value=6_000, required=False)


class Odometer(Body):
    """What the display shows; `confirm` as with readings."""

    value = Number(min_value=0, max_value=1_000_000)
    unit = Choice(choices=["km", "mi"], default="km")
    confirm = YesNo(
        required=False, help_text="false: ask me first where it is unlikely; true: I was asked, it is right."
    )


class NewTask(Body):
    """A task on a component of the trike. `not_affected`: of a bulletin's work, done: inspected, and nothing found."""

    component = Id()
    task = Text(max_length=40)
    outcome = Choice(choices=JobTask.Outcome.values)
    note = Text(max_length=400, allow_blank=True, default="")
    not_affected = YesNo(default=False)


class NewMeasurement(Body):
    """A measured value. `unit` only where people slip: pressures may come in psi or bar."""

    component = Id()
    quantity = Choice(choices=QUANTITIES)
    value = Number()
    unit = Text(max_length=10, allow_blank=True, default="")
    context = serializers.DictField(child=Number(), required=False)
    instrument = Text(max_length=80, allow_blank=True, default="")


class NewSwap(Body):
    """Old serial out, new serial in; either may be empty."""

    position = Choice(choices=sorted(POSITIONS))
    old_serial = Text(max_length=60, allow_blank=True, default="")
    new_serial = Text(max_length=60, allow_blank=True, default="")
    fate = Choice(choices=["", *FATES], default="")
    reason = Text(max_length=200, allow_blank=True, default="")


class NewFailure(Body):
    """A component failed: how, why, how it was found."""

    component = Id()
    mode = Choice(choices=sorted(MODES))
    cause = Choice(choices=["", *sorted(CAUSES)], default="")
    found = Choice(choices=["", *sorted(FOUND)], default="")
    warranty = YesNo(default=False)
    note = Text(max_length=400, allow_blank=True, default="")


class Amendment(Body):
    """What is corrected, and why."""

    text = Text(max_length=4_000)
