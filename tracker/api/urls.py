"""The API's addresses: no slash at the end of a resource."""

from django.urls import include, path
from rest_framework.routers import SimpleRouter

from tracker.api.appointments import Appointments
from tracker.api.bounces import Bounces
from tracker.api.build_lists import BuildLists
from tracker.api.bulletins import BulletinParts, Bulletins
from tracker.api.closings import Closings
from tracker.api.components import Components
from tracker.api.display_changes import DisplayChanges
from tracker.api.docs import Browse, Schema, problem, problems
from tracker.api.due_lines import DueLines
from tracker.api.fitments import Fitments
from tracker.api.handovers import Handovers
from tracker.api.imports import Imports
from tracker.api.intervals import Intervals
from tracker.api.job_cards import JobCards
from tracker.api.log_entries import LogEntries
from tracker.api.messages import Messages
from tracker.api.meter_readings import MeterReadings
from tracker.api.occurrences import Occurrences
from tracker.api.owners import Owners
from tracker.api.part_types import PartTypes
from tracker.api.readings import Readings
from tracker.api.review import Reviews
from tracker.api.rides import Rides
from tracker.api.trikes import Trikes
from tracker.api.visits import Visits

RESOURCES = (
    PartTypes, BuildLists, Components, Trikes, Owners, Fitments, Readings, Rides, DisplayChanges,
    MeterReadings, Handovers, Intervals, Occurrences, DueLines, Visits, Appointments, Closings, JobCards, LogEntries, Messages,
    Bulletins, BulletinParts, Imports, Bounces, Reviews,
)  # fmt: skip

router = SimpleRouter(trailing_slash=False)
for resource in RESOURCES:
    router.register(resource.resource, resource, basename=resource.resource)

urlpatterns = [
    path("v1/", include(router.urls)),
    path("schema/", Schema.as_view(), name="schema"),
    path("docs/", Browse.as_view(), name="api-docs"),
    path("problems/", problems, name="problems"),
    path("problems/<slug:code>", problem, name="problem"),
]
