"""Who may do what over the API, as one table. A step that does not stand here is refused, and a test finds it."""

from dataclasses import dataclass
from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from tracker.http.keys import client_of
from tracker.models.access import ROLES

ALL = frozenset(ROLES)
WRITERS = frozenset({"desk", "mechanic", "admin"})
SIGNERS = frozenset({"mechanic", "admin"})
RULERS = frozenset({"reviewer", "admin"})


@dataclass(frozen=True)
class Right:
    """Which roles may take a step, and which scope a key needs for it; scope None: never by a key (a person signs)."""

    roles: frozenset[str]
    scope: str | None = None


READ = Right(ALL, "read")
READ_PEOPLE = Right(ALL, "owners:read")
WRITE_FLEET = Right(WRITERS, "fleet:write")
WRITE_READINGS = Right(WRITERS, "readings:write")
WRITE_JOBS = Right(WRITERS, "jobs:write")
WRITE_PEOPLE = Right(WRITERS, "owners:write")
WRITE_IMPORTS = Right(WRITERS, "imports:write")
WRITE_BOUNCES = Right(WRITERS, "bounces:write")
DECIDE = Right(WRITERS)
RULE = Right(RULERS)
MOVE = Right(ALL)
SIGN = Right(SIGNERS)
ERASE = Right(frozenset({"admin"}))
SECOND = Right(WRITERS)

# resource -> step -> right. 'list' and 'retrieve' are what reading means for that resource.
TABLE: dict[str, dict[str, Right]] = {
    "part-types": {"list": READ, "retrieve": READ, "create": RULE, "partial_update": RULE},
    "build-lists": {"list": READ, "retrieve": READ, "create": RULE, "partial_update": RULE, "from_trikes": RULE},
    "components": {
        "list": READ, "retrieve": READ, "create": WRITE_FLEET, "partial_update": WRITE_FLEET, "life": READ,
    },
    "trikes": {
        "list": READ, "retrieve": READ, "create": WRITE_FLEET, "partial_update": WRITE_FLEET, "distance": READ,
        "components": READ, "readings": READ, "due_lines": READ, "logbook": READ, "job_cards": READ, "passport": READ,
        "pass_on": WRITE_PEOPLE, "report_stolen": WRITE_FLEET, "found_again": WRITE_FLEET, "retire": WRITE_FLEET,
        "make_label": WRITE_FLEET, "label_svg": READ, "label_pdf": READ,
    },
    "owners": {
        "list": READ_PEOPLE, "retrieve": READ_PEOPLE, "create": WRITE_PEOPLE, "partial_update": WRITE_PEOPLE,
        "ask_erasure": WRITE_PEOPLE, "erase": ERASE,
    },
    "fitments": {"list": READ, "retrieve": READ, "create": WRITE_FLEET, "remove": WRITE_FLEET},
    "readings": {
        "list": READ, "retrieve": READ, "create": WRITE_READINGS, "bulk": WRITE_READINGS, "decide": DECIDE,
    },
    "display-changes": {"list": READ, "retrieve": READ, "create": WRITE_READINGS},
    "rides": {"list": READ, "retrieve": READ, "create": WRITE_READINGS},
    "meter-readings": {"list": READ, "retrieve": READ, "create": WRITE_READINGS},
    "handovers": {"list": READ, "retrieve": READ, "create": Right(WRITERS), "sign": SECOND},
    "intervals": {"list": READ, "retrieve": READ, "create": RULE, "partial_update": RULE},
    "occurrences": {"list": READ, "retrieve": READ, "create": WRITE_READINGS},
    "bulletins": {
        "list": READ, "retrieve": READ, "create": RULE, "partial_update": RULE, "matches": READ, "progress": READ,
        "release": RULE, "end": RULE,
    },
    "bulletin-parts": {"list": READ, "retrieve": READ, "move": MOVE, "book": MOVE},
    "due-lines": {"list": READ, "retrieve": READ},
    "appointments": {"list": READ_PEOPLE, "retrieve": READ_PEOPLE, "decide": WRITE_PEOPLE},
    "closings": {"list": READ, "retrieve": READ, "create": WRITE_JOBS, "destroy": WRITE_JOBS},
    "visits": {"list": READ, "retrieve": READ},
    "job-cards": {
        "list": READ, "retrieve": READ, "create": WRITE_JOBS, "partial_update": WRITE_JOBS, "odometer": WRITE_JOBS,
        "tasks": WRITE_JOBS, "drop_task": WRITE_JOBS, "measurements": WRITE_JOBS, "swaps": WRITE_JOBS,
        "drop_swap": WRITE_JOBS, "failures": WRITE_JOBS, "sign": SIGN, "cancel": WRITE_JOBS, "amendments": SIGN,
        "paper": READ, "summary_paper": READ,
        "release": READ, "sign_release": SIGN, "take_back_release": SIGN, "photos": READ, "add_photo": WRITE_JOBS,
        "drop_photo": WRITE_JOBS, "summary": READ, "write_summary": WRITE_JOBS, "mail_summary": WRITE_JOBS,
    },
    "log-entries": {"list": READ, "retrieve": READ},
    "review": {"list": READ, "retrieve": READ},
    "messages": {"list": READ_PEOPLE, "retrieve": READ_PEOPLE},
    "bounces": {"list": READ_PEOPLE, "retrieve": READ_PEOPLE, "create": WRITE_BOUNCES},
    "imports": {
        "list": READ, "retrieve": READ, "rows": READ, "create": WRITE_IMPORTS, "confirm": WRITE_IMPORTS,
        "try_again": WRITE_IMPORTS,
    },
}  # fmt: skip
# Whose names and addresses are shown with an owner; others see null there.
PERSONAL_DATA = frozenset({"desk", "mechanic", "admin"})


def roles_of(request: Request) -> frozenset[str]:
    """Return the roles of who asks: the key's one role, the person's groups, or all for who set the service up."""
    client = client_of(request)
    if client is not None:
        return frozenset({client.role}) & ALL
    if not request.user.is_authenticated:
        return frozenset()
    if request.user.is_superuser:
        return ALL
    if not hasattr(request.user, "api_roles"):
        request.user.api_roles = frozenset(request.user.groups.values_list("name", flat=True)) & ALL
    return request.user.api_roles


def allows(request: Request, right: Right | None) -> bool:
    """Whether who asks has `right`."""
    if right is None or not roles_of(request) & right.roles:
        return False
    client = client_of(request)
    return client is None or right.scope in client.scopes


class ByRole(BasePermission):
    """Look the step up in TABLE. Who may not even read a resource gets 404 for every single thing of it."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Whether the step is allowed; unmapped methods pass and become 405. Raises NotFound."""
        if not request.user.is_authenticated:
            return False
        if view.action in {None, "metadata"}:
            return True
        steps = TABLE.get(getattr(view, "resource", ""), {})
        if allows(request, steps.get(view.action)):
            return True
        if "pk" in view.kwargs and not allows(request, steps.get("retrieve")):
            raise NotFound
        return False


def sees_personal_data(request: Request) -> bool:
    """Whether names and addresses of owners are shown to who asks."""
    return bool(roles_of(request) & PERSONAL_DATA)
