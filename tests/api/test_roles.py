"""Who may do what: every address of the API, every method, every role, keys of every scope."""

import pytest
from django.urls import get_resolver

from tests.api.conftest import Caller, machine, person
from tracker.actions.keys import SCOPES, create_key, revoke_key
from tracker.http.roles import TABLE
from tracker.models.access import ROLES

pytestmark = pytest.mark.django_db
METHODS = ("get", "post", "put", "patch", "delete")

# The table of the contract, written out a second time: what each role may do besides reading.
PEOPLE = {
    "desk": {"move", "fleet", "owners", "readings", "decide", "handover", "jobs", "imports", "bounces"},
    "mechanic": {"move", "fleet", "owners", "readings", "decide", "handover", "jobs", "imports", "bounces", "sign"},
    "reviewer": {"rules", "move"},
    "admin": {
        "move",
        "fleet",
        "owners",
        "readings",
        "decide",
        "handover",
        "jobs",
        "imports",
        "bounces",
        "sign",
        "rules",
        "erase",
    },
}
KEYS = {
    "fleet:write": {"fleet"}, "readings:write": {"readings"}, "jobs:write": {"jobs"}, "owners:write": {"owners"},
    "imports:write": {"imports"}, "bounces:write": {"bounces"}, "read": {"read"}, "owners:read": {"read-owners"},
}  # fmt: skip
GROUPS = {
    "bulletins": "rules", "bulletin-parts": "move",
    "part-types": "rules", "build-lists": "rules", "intervals": "rules", "components": "fleet", "trikes": "fleet",
    "fitments": "fleet", "owners": "owners", "readings": "readings", "rides": "readings",
    "display-changes": "readings", "meter-readings": "readings", "occurrences": "readings", "handovers": "handover",
    "job-cards": "jobs", "imports": "imports", "bounces": "bounces", "appointments": "owners", "closings": "jobs",
}  # fmt: skip
ODD = {
    "readings.decide": "decide", "job-cards.sign": "sign", "job-cards.amendments": "sign",
    "job-cards.sign_release": "sign", "job-cards.take_back_release": "sign", "trikes.pass_on": "owners",
    "owners.erase": "erase",
}  # fmt: skip


def need(resource: str, step: str, method: str) -> str:
    """What a step needs: a word of PEOPLE and KEYS."""
    if method == "get":
        return "read-owners" if resource in {"owners", "messages", "bounces", "appointments"} else "read"
    return ODD.get(f"{resource}.{step}") or GROUPS[resource]


def routes():
    """(path with ids filled in, view class, method -> step) of every address under /api/v1/."""
    api = next(p for p in get_resolver().url_patterns if str(p.pattern) == "api/")
    v1 = next(p for p in api.url_patterns if str(p.pattern) == "v1/")
    for pattern in v1.url_patterns[0].url_patterns if len(v1.url_patterns) == 1 else v1.url_patterns:
        names = pattern.pattern.regex.groupindex
        path = get_resolver().reverse(pattern.name, **dict.fromkeys(names, "987654"))
        yield "/" + path, pattern.callback.cls, pattern.callback.actions


ROUTES = list(routes())


def test_the_walk_sees_all_addresses():
    assert len(ROUTES) > 50


def test_every_step_of_every_address_stands_in_the_table_and_the_table_has_no_other():
    found = {(cls.resource, step) for _, cls, actions in ROUTES for step in actions.values()}
    assert found == {(resource, step) for resource, steps in TABLE.items() for step in steps}


def call(caller: Caller, method: str, path: str):
    return caller.client.generic(method.upper(), path, b"{}", content_type="application/json", headers=caller.headers)


def check(caller: Caller, may: set[str], who: str) -> int:
    """Call everything as `caller`; nothing may answer otherwise than `may` says. Return how many calls that were."""
    calls = 0
    for path, cls, actions in ROUTES:
        for method in METHODS:
            status = call(caller, method, path).status_code
            calls += 1
            if method not in actions:
                assert status == 405, (who, method, path)
                continue
            reads = "read-owners" if cls.resource in {"owners", "messages", "bounces", "appointments"} else "read"
            if need(cls.resource, actions[method], method) in may:
                assert status not in {401, 403, 405}, (who, method, path, status)
                assert status < 500, (who, method, path, status)
            else:
                hidden = "987654" in path and reads not in may
                assert status == (404 if hidden else 403), (who, method, path, status)
    return calls


@pytest.mark.parametrize("role", ROLES)
def test_a_person_may_do_what_the_contract_says_and_no_more(role):
    assert check(person(role), PEOPLE[role] | {"read", "read-owners"}, role) > 250


def test_a_person_without_a_role_may_do_nothing():
    check(person(""), set(), "nobody")


def test_whoever_set_the_service_up_may_do_everything():
    caller = person("")
    caller.user.is_superuser = True
    caller.user.save()
    check(caller, set().union(*PEOPLE.values()) | {"read", "read-owners"}, "superuser")


@pytest.mark.parametrize("scope", sorted(SCOPES))
def test_a_key_may_do_what_its_scope_says_and_no_more(scope):
    check(machine(scope, role="admin"), KEYS[scope], scope)


def test_a_key_never_signs_decides_or_rules_whatever_its_scopes():
    everything = set().union(*KEYS.values())
    check(machine(*SCOPES, role="admin"), everything, "all scopes")
    assert not everything & {"sign", "decide", "rules", "handover"}


def test_a_key_may_not_do_what_its_role_may_not():
    check(machine(*SCOPES, role="reviewer"), {"read", "read-owners"}, "reviewer's key")


def test_anonymous_and_revoked_callers_are_asked_who_they_are_everywhere(now):
    client, key = create_key(name="gone", role="admin", scopes=list(SCOPES), now=now)
    revoke_key(client_id=client.pk, now=now)
    wrong = [
        Caller(),
        Caller(headers={"Authorization": f"Api-Key {key}"}),
        Caller(headers={"Authorization": "Api-Key x.y"}),
    ]
    for caller in wrong:
        for path, _, actions in ROUTES:
            for method in actions:
                response = call(caller, method, path)
                assert response.status_code == 401, (method, path)
                assert response["WWW-Authenticate"].startswith("Api-Key")


def test_a_revoked_key_stops_at_the_next_request(now, trike):
    caller = machine("read")
    assert caller.get("trikes").status_code == 200
    from tracker.models import ApiClient

    revoke_key(client_id=ApiClient.objects.get().pk, now=now)
    assert caller.get("trikes").status_code == 401


def test_a_hidden_thing_and_a_missing_one_get_the_same_answer(trike):
    caller = machine("fleet:write")
    here, nowhere = caller.get(f"trikes/{trike.pk}"), caller.get("trikes/987654")
    assert here.status_code == nowhere.status_code == 404
    differs = {"instance", "request_id"}
    assert {n: v for n, v in here.json().items() if n not in differs} == {
        n: v for n, v in nowhere.json().items() if n not in differs
    }
