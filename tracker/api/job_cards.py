"""Job cards over the API: opened, filled, signed; afterwards only amended. Keys fill cards, people sign them."""

from collections.abc import Callable
from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request

from tracker.actions import bench, job_cards, signing, swaps
from tracker.api.job_card_parts import (
    Amendment,
    CardChange,
    JobCardOut,
    NewFailure,
    NewMeasurement,
    NewSwap,
    NewTask,
    Odometer,
    OpenCard,
)
from tracker.api.job_card_release import PhotoSteps, ReleaseSteps, SummarySteps
from tracker.api.log_entries import LogEntryOut
from tracker.api.papers import CardPapers
from tracker.api.readings import with_answer
from tracker.http.etags import offered_version
from tracker.http.filters import IdFilter, MomentFilter, SerialFilter
from tracker.http.idempotency import Made
from tracker.http.resource import Resource, id_of
from tracker.models import JobCard
from tracker.queries.cards import whole_cards

TASK_ID = OpenApiParameter("task_id", int, OpenApiParameter.PATH)
SWAP_ID = OpenApiParameter("swap_id", int, OpenApiParameter.PATH)


class JobCardFilter(filters.FilterSet):
    """How job cards can be narrowed."""

    trike = IdFilter(field_name="trike_id")
    state = filters.ChoiceFilter(choices=JobCard.State.choices)
    number = SerialFilter(field_name="number")
    opened_after = MomentFilter(field_name="opened_at", lookup_expr="gte")
    opened_before = MomentFilter(field_name="opened_at", lookup_expr="lt")

    class Meta:
        model = JobCard
        fields: list[str] = []


class JobCards(CardPapers, ReleaseSteps, PhotoSteps, SummarySteps, Resource):
    """Job cards. Every step on a draft answers with the whole card and its new entity tag."""

    resource, output, filterset_class = "job-cards", JobCardOut, JobCardFilter
    orders = ("-opened_at", "opened_at", "id", "-id")
    http_method_names = (*Resource.http_method_names, "put")

    def get_queryset(self) -> QuerySet[JobCard]:
        """Cards with everything on them."""
        return whole_cards()

    def step(self, pk: str, call: Callable[..., Any], **values: Any) -> HttpResponse:
        """Call an action on the card, once per Idempotency-Key, and show the card as it then stands."""
        card = self.row(pk)

        def work() -> Made:
            call(card_id=card.pk, by=self.person, now=self.now, **values)
            return self.made(self.row(pk), 200)

        return self.once(work)

    def versioned(self, pk: str, call: Callable[..., Any], **values: Any) -> HttpResponse:
        """The same for actions that take the version; If-Match is optional here."""

        def checked(*, card_id: int, **rest: Any) -> Any:
            return call(card_id=card_id, version=offered_version(self.request, self.row(card_id).version), **rest)

        return self.step(pk, checked, **values)

    @extend_schema(request=OpenCard, responses={201: JobCardOut})
    def create(self, request: Request) -> HttpResponse:
        """Open a card; the tasks due now stand on it as proposed."""
        values = self.read(OpenCard)
        told = {"by": self.person, "now": self.now}
        return self.create_once(
            lambda: job_cards.open_card(trike_id=values["trike"], complaint=values["complaint"], **told)
        )

    @extend_schema(request=CardChange, responses=JobCardOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change complaint, cause, correction or minutes of a draft."""

        def change(row: JobCard, version: int, changes: dict) -> JobCard:
            return job_cards.update_card(card_id=row.pk, version=version, changes=changes, by=self.person, now=self.now)

        return self.change(pk, CardChange, change)

    @extend_schema(request=Odometer, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def odometer(self, request: Request, pk: str) -> HttpResponse:
        """Record what the display shows. With `confirm` false an unlikely value is asked about first, as with readings."""
        return self.versioned(pk, job_cards.take_odometer, **with_answer(self.read(Odometer)))

    @extend_schema(request=NewTask, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def tasks(self, request: Request, pk: str) -> HttpResponse:
        """Put a task on the card, or say what came of it."""
        return self.step(pk, bench.set_task, **self.on_component(NewTask))

    @extend_schema(request=None, responses={200: JobCardOut}, parameters=[TASK_ID])
    @action(detail=True, methods=["delete"], url_path=r"tasks/(?P<task_id>[^/.]+)")
    def drop_task(self, request: Request, pk: str, task_id: str) -> HttpResponse:
        """Take a task off the draft."""
        row = self.row(pk).tasks.filter(pk=id_of(task_id)).first()
        if row is None:
            raise Http404
        return self.step(pk, bench.drop_task, component_id=row.component_id, task=row.task)

    @extend_schema(request=NewMeasurement, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def measurements(self, request: Request, pk: str) -> HttpResponse:
        """Record a measured value; what it means stands with it in the answer."""
        values = self.on_component(NewMeasurement)
        values["quantity_code"] = values.pop("quantity")
        return self.step(pk, bench.record_measurement, **values)

    @extend_schema(request=NewSwap, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def swaps(self, request: Request, pk: str) -> HttpResponse:
        """Plan a swap; signing the card carries it out."""
        return self.step(pk, swaps.plan_swap, **self.read(NewSwap))

    @extend_schema(request=None, responses={200: JobCardOut}, parameters=[SWAP_ID])
    @action(detail=True, methods=["delete"], url_path=r"swaps/(?P<swap_id>[^/.]+)")
    def drop_swap(self, request: Request, pk: str, swap_id: str) -> HttpResponse:
        """Take a planned swap off the draft."""
        row = self.row(pk).swaps.filter(pk=id_of(swap_id)).first()
        if row is None:
            raise Http404
        return self.step(pk, swaps.drop_swap, position=row.position)

    @extend_schema(request=NewFailure, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def failures(self, request: Request, pk: str) -> HttpResponse:
        """Record that a component failed."""
        return self.step(pk, bench.record_failure, **self.on_component(NewFailure))

    @extend_schema(request=None, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def sign(self, request: Request, pk: str) -> HttpResponse:
        """Sign: swaps are carried out, work goes to the logbook, the due list moves. It cannot be undone."""
        return self.versioned(pk, signing.sign_card)

    @extend_schema(request=None, responses=JobCardOut)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> HttpResponse:
        """Cancel a draft; its odometer reading stays."""
        return self.versioned(pk, job_cards.cancel_card)

    @extend_schema(request=Amendment, responses={201: LogEntryOut})
    @action(detail=True, methods=["post"])
    def amendments(self, request: Request, pk: str) -> HttpResponse:
        """Correct a signed card by a new entry in the logbook that names it."""
        card, text = self.row(pk), self.read(Amendment)["text"]

        def work() -> Made:
            entry = job_cards.amend_card(card_id=card.pk, text=text, by=self.person, now=self.now)
            return self.made(entry, 201, LogEntryOut)

        return self.once(work)

    def on_component(self, body: type) -> dict[str, Any]:
        """Return the checked body with the component as the actions name it."""
        values = self.read(body)
        values["component_id"] = values.pop("component")
        return values
