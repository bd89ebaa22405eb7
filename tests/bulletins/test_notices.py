"""A hazard reaches every owner by mail, or stands on the list of those to be rung."""

import random
from email import message_from_bytes, policy

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.bulletins.conftest import LATER, NOW, danger, on_a_trike, released, says
from tests.factories import OwnerFactory
from tests.mail_lint import faults
from tracker.actions.bounces import note_bounce
from tracker.actions.bulletins import acknowledge, end_bulletin, match_again, move_part, note_told
from tracker.actions.link_steps import mint_link
from tracker.actions.outbox import dispatch_one
from tracker.actions.passing import pass_on
from tracker.actions.posting import Delivery, Outcome
from tracker.models import BulletinNotice, BulletinPart, OutboxMessage, OwnerLink
from tracker.queries.bulletins import calling_list

pytestmark = pytest.mark.django_db(transaction=True)


class Kept:
    """A channel that keeps what it is given, and answers as it is told."""

    def __init__(self, outcome=Outcome.SENT):
        self.letters, self.outcome = [], outcome

    def send(self, letter):
        """Keep the letter."""
        self.letters.append(letter)
        return Delivery(self.outcome)


def send_all(channel, now=NOW):
    while dispatch_one(channel=channel, now=now, rng=random.Random(1)) is not None:
        pass
    return channel.letters


def states():
    return sorted(BulletinPart.objects.values_list("state", flat=True))


def test_every_owner_gets_one_letter_also_who_said_stop(shock, writer, second):
    on_a_trike(shock, "S1", batch="K-17")
    on_a_trike(shock, "S2", batch="K-17", owner=OwnerFactory(stopped_at=NOW, reminders_agreed=False))
    on_a_trike(shock, "S3", batch="L-02")
    row = released(danger(shock), writer, second)
    letters = send_all(Kept())
    assert len(letters) == 2
    assert states() == ["notified", "notified"]
    match_again(bulletin_id=row.pk, now=LATER)
    assert OutboxMessage.objects.count() == 2


def test_a_letter_asks_for_its_parts_by_their_ids(shock, writer, second):
    # With a subquery PostgreSQL began from all parts of the bulletin, anew for every letter, until it had counted its rows:
    # a thousand letters took 123 s where they take 30 (python -m tests.scores safety --redis --postgres).
    on_a_trike(shock, "S1", batch="K-17")
    released(danger(shock), writer, second)
    with CaptureQueriesContext(connection) as queries:
        send_all(Kept())
    about_parts = [q["sql"] for q in queries if 'FROM "tracker_bulletinpart"' in q["sql"] and "SELECT" in q["sql"]]
    assert len(about_parts) >= 3
    assert [sql for sql in about_parts if sql.count("SELECT") > 1] == []


def test_the_letter_says_what_can_happen_what_to_do_and_why_it_comes(shock, writer, second):
    part = on_a_trike(shock, "S1", batch="K-17")
    released(danger(shock), writer, second)
    [letter] = send_all(Kept())
    mail = message_from_bytes(letter.content, policy=policy.default)
    assert mail["Subject"] == "Product safety recall"  # Regulation (EU) 2023/988, Article 36(2)(a)
    for kind in ("plain", "html"):
        words = " ".join(mail.get_body((kind,)).get_content().split())
        for told in (
            "The shock can burst and throw the rider.", "Stop riding your trike now.", "free of charge", "40 minutes",
            f"serial {part.serial}", "B-2026-001", "concerns your safety", "/o/",
        ):  # fmt: skip
            assert told in words, (kind, told)
    assert [
        found for found in faults(letter.content, to_a_list=True) if "https" not in found and "8058" not in found
    ] == []


def test_a_part_that_cannot_be_excluded_is_told_so(shock, writer, second):
    on_a_trike(shock, "S1", batch="")
    released(danger(shock), writer, second)
    [letter] = send_all(Kept())
    assert (
        "cannot exclude" in message_from_bytes(letter.content, policy=policy.default).get_body(("plain",)).get_content()
    )


def test_without_a_hazard_nobody_is_written_to(shock, writer, second):
    on_a_trike(shock, "S1", batch="K-17")
    released(says(shock), writer, second)
    assert not OutboxMessage.objects.exists()
    assert not BulletinNotice.objects.exists()


@pytest.mark.parametrize("owner", [{"email": ""}, {"email_dead_at": NOW}])
def test_who_has_no_address_that_works_is_to_be_rung(shock, writer, second, owner):
    on_a_trike(shock, "S1", batch="K-17", owner=OwnerFactory(phone="020 7946 0123", **owner))
    row = released(danger(shock), writer, second)
    assert send_all(Kept()) == []
    assert states() == ["unreachable"]
    [notice] = calling_list(row.pk)
    assert notice.owner.phone == "020 7946 0123"
    note_told(notice_id=notice.pk, note="spoke to them", by=second, now=LATER)
    assert states() == ["notified"]
    assert not calling_list(row.pk).exists()


def test_an_address_that_turns_out_dead_makes_the_part_unreachable(shock, writer, second):
    on_a_trike(shock, "S1", batch="K-17")
    row = released(danger(shock), writer, second)
    send_all(Kept(Outcome.DEAD))
    assert states() == ["unreachable"]
    assert calling_list(row.pk).count() == 1


def test_a_letter_that_comes_back_days_later_does_too(shock, writer, second):
    from services.bounces import Kind, Returned

    on_a_trike(shock, "S1", batch="K-17")
    row = released(danger(shock), writer, second)
    send_all(Kept())
    assert states() == ["notified"]
    message = OutboxMessage.objects.get()
    returned = Returned(
        kind=Kind.HARD, status="5.1.1", note="no such user", addresses=(), message_ids=(message.message_id,)
    )
    note_bounce(returned=returned, report="r1", now=LATER)
    assert states() == ["unreachable"]
    assert calling_list(row.pk).count() == 1


def test_an_owner_who_says_that_they_read_it_is_told(shock, writer, second):
    on_a_trike(shock, "S1", batch="K-17")
    row = released(danger(shock), writer, second)
    notice = BulletinNotice.objects.get()
    link, _ = mint_link(notice.trike_id, notice.owner_id, "page", NOW)
    link = OwnerLink.objects.get(pk=link.pk)
    for _ in range(2):
        acknowledge(link=link, bulletin_id=row.pk, now=LATER)
    notice.refresh_from_db()
    assert notice.read_at == LATER
    assert states() == ["notified"]


def test_the_next_owner_is_told_too(shock, writer, second):
    part = on_a_trike(shock, "S1", batch="K-17")
    released(danger(shock), writer, second)
    send_all(Kept())
    trike = part.fitments.get().trike
    pass_on(trike_id=trike.pk, owner_id=OwnerFactory().pk, since=NOW.date(), by=second, now=LATER)
    assert len(send_all(Kept(), LATER)) == 1
    assert BulletinNotice.objects.count() == 2


def test_a_letter_that_waits_goes_to_the_next_owner_alone(shock, writer, second):
    part = on_a_trike(shock, "S1", batch="K-17")
    released(danger(shock), writer, second)
    owner = OwnerFactory()
    pass_on(trike_id=part.fitments.get().trike_id, owner_id=owner.pk, since=NOW.date(), by=second, now=LATER)
    [letter] = send_all(Kept(), LATER)
    assert letter.recipient == owner.email


def test_what_was_put_right_or_withdrawn_meanwhile_is_not_written_about(shock, writer, second):
    on_a_trike(shock, "S1", batch="K-17")
    row = released(danger(shock), writer, second)
    move_part(part_id=BulletinPart.objects.get().pk, state="corrected", by=second, now=LATER)
    assert send_all(Kept(), LATER) == []
    assert OutboxMessage.objects.get().state == "dropped"
    on_a_trike(shock, "S2", batch="K-17")
    match_again(bulletin_id=row.pk, now=LATER)
    row.refresh_from_db()
    end_bulletin(
        bulletin_id=row.pk, version=row.version, how="withdrawn", why="It was another batch.", by=second, now=LATER
    )
    assert send_all(Kept(), LATER) == []
