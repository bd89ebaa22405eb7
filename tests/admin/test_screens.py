"""The admin: every screen opens, nothing but people, groups and keys can be changed, lists stay flat."""

import hashlib

import factory
import pytest
from django.contrib import admin
from django.contrib.auth.models import Group
from django.test import Client
from factory.django import DjangoModelFactory

from tests import factories as make
from tracker.admin.lookonly import LookOnlyAdmin
from tracker.models import ApiClient, IdempotencyRecord, ImportBatch, LogEntry, OwnerLink, ServiceInterval, User

CHANGEABLE = {User, Group, ApiClient}
SCREENS = sorted((m for m in admin.site._registry if m._meta.app_label != "axes"), key=lambda model: model.__name__)
FACTORIES = {factory._meta.model: factory for factory in vars(make).values() if hasattr(factory, "_meta")}


class KeptAnswers(DjangoModelFactory):
    class Meta:
        model = IdempotencyRecord

    actor = "client:1"
    key = factory.Sequence(lambda n: f"key-{n}")
    created_at = make.NOW


class Groups(DjangoModelFactory):
    class Meta:
        model = Group

    name = factory.Sequence(lambda n: f"group {n}")


class IntervalsOfPartTypes(make.ServiceIntervalFactory):
    part_type = factory.SubFactory(make.PartTypeFactory)


FACTORIES |= {IdempotencyRecord: KeptAnswers, Group: Groups, ServiceInterval: IntervalsOfPartTypes}


@pytest.fixture
def boss(db) -> Client:
    client = Client()
    client.force_login(User.objects.create(username="boss", is_staff=True, is_superuser=True))
    return client


def address(model: type, page: str = "") -> str:
    return f"/admin/{model._meta.app_label}/{model._meta.model_name}/{page}"


def test_the_header_carries_the_workshops_name(boss):
    assert "Larkfen Trikeworks" in boss.get("/admin/").content.decode()


def test_those_locked_out_by_wrong_passwords_can_be_looked_up(boss):
    assert boss.get("/admin/axes/accessattempt/").status_code == 200


@pytest.mark.parametrize("model", SCREENS, ids=lambda model: model.__name__)
def test_every_screen_opens_as_list_and_as_record(model, boss):
    row = FACTORIES[model]()
    assert boss.get(address(model)).status_code == 200
    assert boss.get(address(model, f"{row.pk}/change/")).status_code == 200


@pytest.mark.parametrize("model", [m for m in SCREENS if m not in CHANGEABLE], ids=lambda model: model.__name__)
def test_what_has_an_action_is_look_only_even_for_the_boss(model, boss):
    row = FACTORIES[model]()
    assert isinstance(admin.site._registry[model], LookOnlyAdmin)
    assert boss.get(address(model, "add/")).status_code == 403
    assert boss.post(address(model, f"{row.pk}/change/"), {}).status_code == 403
    assert boss.post(address(model, f"{row.pk}/delete/"), {"post": "yes"}).status_code == 403
    assert model.objects.filter(pk=row.pk).exists()


@pytest.mark.parametrize("model", [m for m in SCREENS if m is not User], ids=lambda model: model.__name__)
def test_a_list_costs_the_same_queries_for_2_rows_and_22(model, boss, assert_flat_queries):
    rows = FACTORIES[model]
    rows.create_batch(2)
    assert_flat_queries(lambda: boss.get(address(model)), lambda: rows.create_batch(20))


def test_the_list_of_people_costs_the_same_queries_for_2_rows_and_22(boss, assert_flat_queries):
    group = Group.objects.create(name="desk")

    def grow() -> None:
        for user in make.UserFactory.create_batch(20):
            user.groups.add(group)

    make.UserFactory().groups.add(group)
    assert_flat_queries(lambda: boss.get(address(User)), grow)


def test_a_new_key_is_shown_once_and_kept_as_its_hash(boss):
    values = {"name": "till", "role": "desk", "scopes": '["read"]'}
    page = boss.post(address(ApiClient, "add/"), values, follow=True).content.decode()
    client = ApiClient.objects.get()
    key = page.split("shown this once: ")[1].split("<")[0].strip()
    assert hashlib.sha256(key.encode()).hexdigest() == client.key_hash
    assert key.startswith(client.prefix)
    assert key not in boss.get(address(ApiClient, f"{client.pk}/change/")).content.decode()


def test_a_key_is_revoked_and_not_deleted(boss):
    client = make.ApiClientFactory()
    boss.post(address(ApiClient), {"action": "revoke", "_selected_action": [client.pk]})
    client.refresh_from_db()
    assert client.revoked_at is not None
    assert boss.post(address(ApiClient, f"{client.pk}/delete/"), {"post": "yes"}).status_code == 403


def test_changing_a_client_keeps_its_key(boss):
    client = make.ApiClientFactory(name="till")
    boss.post(address(ApiClient, f"{client.pk}/change/"), {"name": "kiosk", "role": "desk", "scopes": "[]"})
    after = ApiClient.objects.get()
    assert (after.name, after.key_hash) == ("kiosk", client.key_hash)


def test_secrets_and_file_contents_are_not_on_any_screen(boss):
    link, batch = make.OwnerLinkFactory(), make.ImportBatchFactory(content=b"only-in-the-file")
    assert link.token_hash not in boss.get(address(OwnerLink, f"{link.pk}/change/")).content.decode()
    assert "only-in-the-file" not in boss.get(address(ImportBatch, f"{batch.pk}/change/")).content.decode()


def test_people_who_are_not_staff_do_not_get_in(db):
    client = Client()
    client.force_login(make.UserFactory())
    assert client.get("/admin/").status_code == 302


def test_the_logbook_cannot_be_emptied_by_a_list_action(boss):
    entry = make.LogEntryFactory()
    boss.post(address(LogEntry), {"action": "delete_selected", "_selected_action": [entry.pk], "post": "yes"})
    assert LogEntry.objects.filter(pk=entry.pk).exists()
