"""An owner's data is erased (General Data Protection Regulation, Article 17): nothing personal is left, the record stands."""

import random
from datetime import timedelta

import pytest
from django.apps import apps
from django.contrib.admin.models import CHANGE
from django.contrib.admin.models import LogEntry as AdminEntry
from django.contrib.contenttypes.models import ContentType
from django.db import connection
from django.test import Client

from tests import factories as make
from tests.api.conftest import person
from tests.bulletins.conftest import danger, on_a_trike, released
from tests.factories import NOW
from tests.pages.conftest import logged_in
from tests.reminders.conftest import DUE, phone_of, some_task, token_for, trike_with
from tracker.actions.erasing import NAME, ask_erasure, erase_owner, keep_owner
from tracker.actions.outbox import dispatch_one
from tracker.actions.owner_links import LinkGone, open_link
from tracker.actions.owners import change_owner
from tracker.actions.passing import pass_on
from tracker.actions.posting import Letter
from tracker.actions.refusals import Invalid, StaleVersion, WrongState
from tracker.actions.reminders import run_sweep
from tracker.actions.steps import draft_of, write_logs
from tracker.channels.folder import FolderChannel
from tracker.models import Appointment, ImportBatch, OutboxMessage, Owner, OwnerLink, Ownership, ReadingPhoto
from tracker.queries.bulletins import calling_list
from tracker.queries.due import rebuild_differences
from tracker.queries.erasing import answer_by, mentions
from tracker.queries.home import needs_me_today
from tracker.queries.logbook import broken_chains

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock", "photo_folder")]

# As somebody would be found again: by name, address, number, or their own words.
TRACES = ("Quillfeather", "quill@example.org", "946 0777", "79460777", "left my gate key")


@pytest.fixture
def folder(tmp_path, settings):
    settings.MAIL_FOLDER = tmp_path / "letters"
    return settings.MAIL_FOLDER


@pytest.fixture
def owner() -> Owner:
    return make.OwnerFactory(
        name="Zoë Quillfeather", search_name="zoe quillfeather", email="quill@example.org", phone="020 7946 0777",
        phone_e164="+442079460777", time_zone="Europe/Berlin", language="de", agreed_source="told Quillfeather's son",
    )  # fmt: skip


@pytest.fixture
def trike(owner, folder, photo_folder):
    """Theirs, with everything the product keeps about an owner."""
    trike = trike_with(some_task(safety=False), owner=owner)
    token_for(trike)
    letters = FolderChannel(folder)
    run_sweep(now=DUE, everything=True)
    while dispatch_one(channel=letters, now=DUE, rng=random.Random(1)):
        pass
    assert any(trace.encode() in path.read_bytes() for path in folder.glob("*.eml") for trace in TRACES)
    make.ReadingPhotoFactory(owner=owner, reading__trike=trike)
    make.AppointmentFactory(trike=trike, owner=owner, note="I left my gate key", answer="Thanks, Quillfeather")
    make.OutboxMessageFactory(trike=trike, owner=owner, payload={"paragraphs": ["Dear Quillfeather"]})
    make.OutboxMessageFactory(
        trike=trike, owner=owner, state="sent", kind="summary", bounce_note="550 quill@example.org is unknown"
    )
    delivered = make.ImportBatchFactory(kind=ImportBatch.Kind.DELIVERIES, content=b"Owner\nZo\xc3\xab Quillfeather\n")
    raw = {
        "Frame": trike.frame_serial,
        "Owner": " ZOË  Quillfeather",
        "E-mail": "Quill@Example.org",
        "Phone": "020 7946 0777",
    }
    make.ImportRowFactory(batch=delivered, number=2, raw=raw, field="Phone", message="'020 7946 0777' is odd.")
    AdminEntry.objects.create(
        user=make.UserFactory(), content_type=ContentType.objects.get_for_model(Owner), object_id=owner.pk,
        object_repr="Zoë Quillfeather", action_flag=CHANGE, change_message="Quillfeather",
    )  # fmt: skip
    return trike


def erase(owner: Owner, **values) -> Owner:
    return erase_owner(owner_id=owner.pk, by=make.UserFactory(), now=NOW, **values)


def traces() -> list[str]:
    """Every place in the whole database that still says who they are, read from its tables as they are."""
    found = []
    with connection.cursor() as cursor:
        for model in apps.get_models(include_auto_created=True):
            cursor.execute(f'SELECT * FROM "{model._meta.db_table}"')
            names = [column[0] for column in cursor.description]
            for row in cursor.fetchall():
                for name, value in zip(names, row, strict=True):
                    text = (
                        bytes(value).decode("utf-8", "replace") if isinstance(value, bytes | memoryview) else str(value)
                    )
                    if any(trace.casefold() in text.casefold() for trace in TRACES):
                        found.append(f"{model._meta.db_table}.{name}: {text[:80]}")
    return found


def test_the_fixture_leaves_traces_in_every_table_that_erasing_cleans(trike):
    tables = {trace.partition(".")[0] for trace in traces()}
    assert tables >= {
        "tracker_owner", "tracker_appointment", "tracker_outboxmessage", "tracker_importrow", "tracker_importbatch",
        "django_admin_log",
    }  # fmt: skip


def test_nothing_in_the_database_or_the_folders_says_who_they_were(
    trike, owner, folder, photo_folder, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        erase(owner)
    assert traces() == []
    assert list(folder.glob("*.eml")) == []
    assert list(photo_folder.iterdir()) == []
    assert not ReadingPhoto.objects.exists()
    assert not OwnerLink.objects.filter(owner=owner).exists()


def test_a_letter_whose_dispatcher_died_after_the_folder_kept_it_goes_too(
    owner, folder, django_capture_on_commit_callbacks
):
    row = make.OutboxMessageFactory(owner=owner, state="unknown")
    FolderChannel(folder).send(Letter(message_id=row.message_id, sender="a", recipient="b", content=b"Quillfeather"))
    assert len(list(folder.iterdir())) == 1
    with django_capture_on_commit_callbacks(execute=True):
        erase(owner)
    assert list(folder.iterdir()) == []


def test_the_machine_keeps_its_record_and_every_chain_verifies(trike, owner):
    write_logs([draft_of(trike.pk, "meter", NOW, None, "owner", {"value": 3})], NOW)
    make.OdometerReadingFactory(trike=trike, value=2000)
    erase(owner)
    assert list(broken_chains()) == []
    assert rebuild_differences([trike.pk]) == []
    assert trike.readings.filter(value=2000).exists()
    owned = Ownership.objects.get(trike=trike)
    assert (owned.owner_id, owned.until, str(owned.owner)) == (owner.pk, NOW.date(), NAME)
    assert trike.log_entries.first().kind == "owner_erased"


def test_what_waits_is_not_sent_and_nothing_more_is_planned(trike, owner):
    erase(owner)
    states = set(OutboxMessage.objects.filter(owner=owner).values_list("state", flat=True))
    assert states == {"sent", "dropped"}
    assert not trike.visits.filter(state="open").exists()
    run_sweep(now=NOW + timedelta(days=60))
    assert not OutboxMessage.objects.filter(state="waiting").exists()
    assert Appointment.objects.get().state == Appointment.State.WITHDRAWN


def test_links_sent_before_open_nothing(trike, owner):
    tokens = {purpose: token_for(trike, purpose) for purpose in ("page", "stop", "feed")}
    erase(owner)
    for purpose, token in tokens.items():
        with pytest.raises(LinkGone):
            open_link(token=token, purpose=purpose, now=NOW)
    assert Client().get(f"/o/{tokens['page']}").status_code == 404


def test_the_next_owner_is_written_down_as_ever(trike, owner):
    erase(owner)
    buyer = make.OwnerFactory()
    assert pass_on(trike_id=trike.pk, owner_id=buyer.pk, since=NOW.date(), by=None, now=NOW).owner == buyer


def test_an_erased_owner_is_given_nothing_and_changed_no_more(trike, owner):
    erase(owner)
    with pytest.raises(WrongState):
        change_owner(owner_id=owner.pk, version=None, changes={"name": "Zoë"}, by=None, now=NOW)
    with pytest.raises(WrongState, match="erased already"):
        erase(owner)
    with pytest.raises(Invalid):
        pass_on(trike_id=make.TrikeFactory().pk, owner_id=owner.pk, since=NOW.date(), by=None, now=NOW)


def test_another_owner_keeps_everything(trike, owner):
    other = make.OwnerFactory(name="Quill Otherwise")
    ours = trike_with(some_task(safety=False), owner=other)
    token_for(ours)
    before = Owner.objects.filter(pk=other.pk).values().get()
    erase(owner)
    assert Owner.objects.filter(pk=other.pk).values().get() == before
    assert OwnerLink.objects.filter(owner=other).count() == 1
    assert Ownership.objects.get(trike=ours).until is None


def test_a_notice_of_a_hazard_that_still_waited_leaves_its_part_unreachable_and_nobody_to_ring(owner):
    shock, writer, second = make.PartTypeFactory(kind="air_shock"), make.UserFactory(), make.UserFactory()
    on_a_trike(shock, "S-1", owner=owner)
    bulletin = released(danger(shock), writer, second)
    assert owner.messages.get().state == "waiting"
    erase(owner)
    assert bulletin.parts.get().state == "unreachable"
    assert list(calling_list(bulletin.pk)) == []


def test_it_waits_for_a_letter_that_is_on_its_way(trike, owner):
    row = owner.messages.filter(state="waiting").first()
    OutboxMessage.objects.filter(pk=row.pk).update(state="sending", lease_until=NOW + timedelta(minutes=9))
    with pytest.raises(WrongState, match="on its way"):
        erase(owner)
    assert Owner.objects.get(pk=owner.pk).name == "Zoë Quillfeather"


def test_a_change_made_meanwhile_is_looked_at_first(trike, owner):
    with pytest.raises(StaleVersion):
        erase(owner, version=owner.version + 1)


def test_the_first_day_of_asking_stands_and_the_answer_is_due_within_a_month(owner):
    ask_erasure(owner_id=owner.pk, now=NOW)
    row = ask_erasure(owner_id=owner.pk, now=NOW + timedelta(days=5))
    assert row.erase_asked_at == NOW
    assert answer_by(row) == NOW + timedelta(days=30)
    assert needs_me_today(NOW).erase_asked == [row]
    keep_owner(owner_id=owner.pk, now=NOW)
    assert needs_me_today(NOW).erase_asked == []


def test_typed_texts_that_name_them_are_listed_signed_or_not(trike, owner):
    card = make.JobCardFactory(trike=trike, complaint="Zoë Quillfeather hears a rattle")
    make.FailureFactory(card=None, trike=trike, note="rang 020 7946 0777")
    write_logs([draft_of(trike.pk, "amendment", NOW, None, "desk", {"text": "Zoë Quillfeather was wrong"})], NOW)
    make.JobCardFactory(complaint="another rattle")
    found = mentions(owner)
    assert [(mention.where.split()[0], mention.is_signed) for mention in found] == [
        ("Job", False), ("Failure", False), ("Logbook", True),
    ]  # fmt: skip
    assert card.number in found[0].where


# The doors


def test_an_owner_asks_on_their_page_and_nothing_else_happens(trike, owner):
    phone = phone_of(token_for(trike))
    assert "Meine Daten löschen?" in phone.get("/o/erase").content.decode()
    answer = phone.post("/o/erase", {"key": phone.key})
    assert answer["Location"] == "/o/?said=erase"
    owner.refresh_from_db()
    assert (owner.erase_asked_at, owner.name) == (NOW, "Zoë Quillfeather")
    again = phone.get("/o/erase").content.decode()
    assert "innerhalb eines Monats" in again
    assert "<form" not in again


def test_a_look_at_the_page_asks_for_nothing(trike, owner):
    phone_of(token_for(trike)).get("/o/erase")
    owner.refresh_from_db()
    assert owner.erase_asked_at is None


@pytest.mark.parametrize(("role", "status"), [("desk", 403), ("mechanic", 403), ("reviewer", 404), ("admin", 302)])
def test_an_admin_alone_erases(trike, owner, role, status):
    sent = {"version": owner.version, "is_them": "on", "may_go": "on"}
    assert logged_in(role).post(f"/owners/{owner.pk}/erase/", sent).status_code == status
    owner.refresh_from_db()
    assert (owner.erased_at is not None) is (role == "admin")


def test_without_both_ticks_nothing_is_erased(trike, owner):
    answer = logged_in("admin").post(f"/owners/{owner.pk}/erase/", {"version": owner.version, "is_them": "on"})
    assert answer.status_code == 422
    owner.refresh_from_db()
    assert owner.erased_at is None


def test_the_page_tells_what_goes_and_warns_of_an_open_hazard(owner):
    shock, writer, second = make.PartTypeFactory(kind="air_shock"), make.UserFactory(), make.UserFactory()
    on_a_trike(shock, "S-1", owner=owner)
    number = released(danger(shock), writer, second).number
    seen = logged_in("admin").get(f"/owners/{owner.pk}/erase/").content.decode()
    assert f">{number}</a>" in seen
    assert "cannot be warned or called in any more" in seen


def test_the_desk_notes_the_wish_and_an_admin_ends_it(owner):
    desk, admin = logged_in("desk"), logged_in("admin")
    desk.post(f"/owners/{owner.pk}/erase/ask/")
    assert "asked for their data to be erased" in desk.get("/").content.decode()
    assert desk.post(f"/owners/{owner.pk}/erase/keep/").status_code == 403
    admin.post(f"/owners/{owner.pk}/erase/keep/")
    owner.refresh_from_db()
    assert owner.erase_asked_at is None


def test_what_stays_is_not_in_the_list_of_owners_and_its_page_says_so(trike, owner):
    erase(owner)
    desk = logged_in("desk")
    assert NAME not in desk.get("/owners/").content.decode()
    seen = desk.get(f"/owners/{owner.pk}/").content.decode()
    assert "Their data was erased on" in seen
    assert "Change" not in seen.split("<main")[1]
    assert desk.get(f"/owners/{owner.pk}/erase/").status_code == 404


def test_over_the_api_an_admin_erases_once(trike, owner):
    admin = person("admin")
    tag = admin.get(f"owners/{owner.pk}")["ETag"]
    first = admin.post(f"owners/{owner.pk}/erase", Idempotency_Key="e-1", If_Match=tag)
    assert (first.status_code, first.json()["name"]) == (200, NAME)
    again = admin.post(f"owners/{owner.pk}/erase", Idempotency_Key="e-1", If_Match=tag)
    assert again.json() == first.json()
    assert traces() == []
