"""Callers of the API in every role, behind keys, and a trike to work on."""

import json
from dataclasses import dataclass, field
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import Group
from django.core.cache import cache
from django.test import Client

from tests import factories as make
from tests.factories import NOW
from tracker.actions.keys import create_key
from tracker.models import Trike, User


@pytest.fixture(autouse=True)
def _standing_clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture(autouse=True)
def _no_counts_left():
    cache.clear()


@dataclass
class Caller:
    """Somebody who speaks JSON with the API."""

    client: Client = field(default_factory=Client)
    headers: dict[str, str] = field(default_factory=dict)
    user: User | None = None

    def get(self, path: str, **query: Any):
        return self.client.get(f"/api/v1/{path}", query, headers=self.headers)

    def send(self, method: str, path: str, body: Any = None, raw: bytes | None = None, **headers: str):
        data = raw if raw is not None else (b"" if body is None else json.dumps(body).encode())
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        kind = named.pop("Content-Type", "application/json")
        return self.client.generic(
            method, f"/api/v1/{path}", data, content_type=kind, headers={**self.headers, **named}
        )

    def post(self, path: str, body: Any = None, **headers: str):
        return self.send("POST", path, body, **headers)

    def patch(self, path: str, body: Any, **headers: str):
        return self.send("PATCH", path, body, **headers)

    def delete(self, path: str, **headers: str):
        return self.send("DELETE", path, **headers)


def person(role: str) -> Caller:
    """A person logged in with one role; '' for none."""
    user = make.UserFactory()
    if role:
        user.groups.add(Group.objects.get_or_create(name=role)[0])
    client = Client()
    client.force_login(user)
    return Caller(client, user=user)


def machine(*scopes: str, role: str = "desk") -> Caller:
    """Another system behind a key."""
    name = f"system {make.ApiClientFactory.build().name} {role} {len(scopes)}"
    _, key = create_key(name=name, role=role, scopes=scopes or ["read"], now=NOW)
    return Caller(headers={"Authorization": f"Api-Key {key}"})


@pytest.fixture
def anonymous() -> Caller:
    return Caller()


@pytest.fixture
def desk(db) -> Caller:
    return person("desk")


@pytest.fixture
def mechanic(db) -> Caller:
    return person("mechanic")


@pytest.fixture
def reviewer(db) -> Caller:
    return person("reviewer")


@pytest.fixture
def admin(db) -> Caller:
    return person("admin")


@pytest.fixture
def trike(db) -> Trike:
    """A delivered trike with an owner, a frame, a chain and a battery."""
    trike = make.TrikeFactory()
    make.OwnershipFactory(trike=trike)
    frame = make.ComponentFactory(part_type__kind="frame", serial=trike.frame_serial, state="fitted")
    make.FitmentFactory(trike=trike, component=frame, position="frame")
    for position, kind in (("chain", "chain"), ("battery", "battery")):
        part = make.ComponentFactory(part_type__kind=kind, state="fitted")
        make.FitmentFactory(trike=trike, component=part, position=position)
    return trike


def part_at(trike: Trike, position: str):
    """The component in a position now."""
    return trike.fitments.current().get(position=position).component


def problem(response, status: int, code: str) -> dict[str, Any]:
    """Check that an answer is this problem, whole; return it."""
    assert response.status_code == status, response.content
    assert response["Content-Type"] == "application/problem+json"
    body = json.loads(response.content)
    assert body["type"] == f"/api/problems/{code}", body
    assert body["status"] == status
    assert body["title"]
    assert body["detail"]
    assert body["instance"].startswith("/api/")
    return body


def faults(body: dict[str, Any]) -> dict[str, str]:
    """Pointer -> code of a problem's errors."""
    return {error["pointer"]: error["code"] for error in body["errors"]}
