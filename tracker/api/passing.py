"""What changes the fate of a trike over the API: another owner, stolen, found again, retired."""

from collections.abc import Callable
from typing import Any, ClassVar

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request

from tracker.actions.passing import pass_on
from tracker.actions.retirement import PART_FATES, retire_trike
from tracker.actions.theft import found_again, report_stolen
from tracker.api.readings import with_answer
from tracker.api.trike_shown import TrikeOut
from tracker.http.etags import offered_version
from tracker.http.fields import Body, Choice, Day, Id, Moment, Number, Text, YesNo
from tracker.http.idempotency import Made

MOST_PARTS = 100


class PassingOn(Body):
    """The next owner. `reading`: what the display showed that day; `confirm` as with readings.

    `reminders_agreed` true: their own word, with how it was given; false changes nothing of theirs.
    """

    owner = Id()
    since = Day()
    reading = Number(min_value=0, max_value=1_000_000, allow_null=True, default=None)
    unit = Choice(choices=["km", "mi"], default="km")
    confirm = YesNo(required=False)
    reminders_agreed = YesNo(default=False)
    agreed_source = Text(max_length=80, allow_blank=True, default="")


class Theft(Body):
    """Since when it is gone. `note`: report number, place; no names."""

    on = Day()
    note = Text(max_length=200, allow_blank=True, default="")


class Finding(Theft):
    """When it was found again."""


class PartFate(Body):
    """Where one of its components goes."""

    component = Id()
    fate = Choice(choices=sorted(PART_FATES))


class Retirement(Body):
    """Why, when, and where every fitted component goes; the frame is `scrapped`, or kept (`in_stock`)."""

    reason = Text(max_length=200)
    at = Moment(required=False)
    parts = PartFate(many=True, max_length=MOST_PARTS)


class Passing:
    """Steps of the trikes' resource. Each takes If-Match where a caller wants to be sure of what it read."""

    members: ClassVar[dict[str, str]] = {"value": "reading", "read_at": "since", "fates": "parts"}

    @extend_schema(request=PassingOn, responses=TrikeOut)
    @action(detail=True, methods=["post"], url_path="pass-on")
    def pass_on(self, request: Request, pk: str) -> HttpResponse:
        """Give it its next owner: the old owner's links die, open reminders are dropped, the forecast begins anew."""
        values = with_answer(self.read(PassingOn))
        agreed, owner_id = values.pop("reminders_agreed"), values.pop("owner")
        return self.step_on(pk, pass_on, owner_id=owner_id, agreed=agreed, **values)

    @extend_schema(request=Theft, responses=TrikeOut)
    @action(detail=True, methods=["post"], url_path="report-stolen")
    def report_stolen(self, request: Request, pk: str) -> HttpResponse:
        """Mark it stolen: reminders are held until it is found again."""
        return self.step_on(pk, report_stolen, **self.read(Theft))

    @extend_schema(request=Finding, responses=TrikeOut)
    @action(detail=True, methods=["post"], url_path="found-again")
    def found_again(self, request: Request, pk: str) -> HttpResponse:
        """Take the mark off."""
        return self.step_on(pk, found_again, **self.read(Finding))

    @extend_schema(request=Retirement, responses=TrikeOut)
    @action(detail=True, methods=["post"])
    def retire(self, request: Request, pk: str) -> HttpResponse:
        """Retire it: every part leaves with its life. There is no undo; a kept frame can be registered again."""
        values = self.read(Retirement)
        fates = {part["component"]: part["fate"] for part in values["parts"]}
        at = values.get("at") or self.now
        return self.step_on(pk, retire_trike, reason=values["reason"], fates=fates, at=at)

    def step_on(self, pk: str, act: Callable[..., Any], **values: Any) -> HttpResponse:
        """Take one step on a trike, once per Idempotency-Key, and show the trike as it stands then."""
        row = self.row(pk)

        def work() -> Made:
            version = offered_version(self.request, self.row(pk).version)
            act(trike_id=row.pk, version=version, **values, by=self.person, now=self.now, source=self.source)
            return self.made(self.row(pk), 200)

        return self.once(work)
