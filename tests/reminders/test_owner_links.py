from hashlib import sha256

import pytest

from tests import factories
from tests.reminders.conftest import DUE, days
from tracker.actions.link_steps import LIFE_DAYS
from tracker.actions.owner_links import (
    LinkGone,
    make_link,
    open_link,
    resume_reminders,
    revoke_links,
    stop_reminders,
)
from tracker.models import OwnerLink

pytestmark = pytest.mark.django_db


@pytest.fixture
def ownership():
    return factories.OwnershipFactory()


@pytest.fixture
def made(ownership):
    return make_link(trike_id=ownership.trike_id, owner_id=ownership.owner_id, now=DUE)


def test_only_the_sha_256_of_a_token_is_stored(made):
    link, token = made
    assert link.token_hash == sha256(token.encode()).hexdigest()
    assert token not in str(OwnerLink.objects.values().get())


def test_a_token_holds_256_random_bits_and_no_two_are_the_same(ownership):
    tokens = {make_link(trike_id=ownership.trike_id, owner_id=ownership.owner_id, now=DUE)[1] for _ in range(20)}
    assert {len(token) for token in tokens} == {43}  # 32 octets in base64url without padding: 43 characters
    assert len(tokens) == 20


def test_a_link_opens_and_opening_writes_nothing(made, django_assert_num_queries):
    link, token = made
    with django_assert_num_queries(2):
        assert open_link(token, DUE) == link
    link.refresh_from_db()
    assert link.last_used_at is None


def revoked(link):
    revoke_links(trike_id=link.trike_id, now=DUE)


def expired(link):
    OwnerLink.objects.update(expires_at=DUE)


def for_another_purpose(link):
    OwnerLink.objects.update(purpose="stop")


def passed_on(link):
    link.trike.ownerships.update(until=DUE.date())
    factories.OwnershipFactory(trike=link.trike)


@pytest.mark.parametrize("event", [revoked, expired, for_another_purpose, passed_on])
def test_a_link_that_ended_is_refused_in_the_same_words_as_one_never_made(made, event):
    link, token = made
    event(link)
    answers = set()
    for one in (token, token[:-1], "", "\udcff", "x" * 5000):
        with pytest.raises(LinkGone) as refused:
            open_link(one, DUE)
        answers.add((refused.value.message, refused.value.remedy, refused.value.field))
    assert len(answers) == 1


def test_nobody_gets_a_link_to_a_trike_they_do_not_own(ownership):
    with pytest.raises(LinkGone):
        make_link(trike_id=ownership.trike_id, owner_id=factories.OwnerFactory().pk, now=DUE)


def test_the_stop_link_of_an_old_mail_still_works_after_the_trike_passed_on(ownership):
    link, token = make_link(trike_id=ownership.trike_id, owner_id=ownership.owner_id, purpose="stop", now=DUE)
    passed_on(link)
    assert open_link(token, DUE + days(LIFE_DAYS["stop"] - 1), purpose="stop") == link


def test_stopping_twice_keeps_the_first_moment(made):
    link, _ = made
    stop_reminders(link=link, now=DUE)
    assert stop_reminders(link=link, now=DUE + days(1)).stopped_at == DUE


def test_resuming_counts_as_agreement_with_its_time_and_source(made):
    link, _ = made
    link.owner.reminders_agreed, link.owner.stopped_at = False, DUE
    link.owner.save()
    owner = resume_reminders(link=link, now=DUE + days(1))
    assert (owner.reminders_agreed, owner.agreed_at, owner.agreed_source, owner.stopped_at) == (
        True, DUE + days(1), "owner page", None,
    )  # fmt: skip


def test_resuming_keeps_an_agreement_given_before(made):
    link, _ = made
    assert resume_reminders(link=link, now=DUE).agreed_source == "handover"


def test_links_are_revoked_by_trike_or_by_owner_and_never_all_by_mistake(ownership, made):
    assert revoke_links(now=DUE) == 0
    assert revoke_links(owner_id=ownership.owner_id, now=DUE) == 1
    assert revoke_links(trike_id=ownership.trike_id, now=DUE) == 0
