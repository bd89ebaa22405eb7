"""One effect for one request: repeated, racing, crashed."""

from datetime import timedelta

import pytest
from django.db import OperationalError

from tests import factories as make
from tracker.actions.refusals import Conflict
from tracker.actions.transactions import ANSWERS_KEPT, CLAIM_LASTS, Answer, KeyReused, StillRunning, action, run_once
from tracker.models import IdempotencyRecord, PartType

pytestmark = pytest.mark.django_db


class PowerCut(BaseException):
    """The process is gone: nothing after it runs."""


@action
def add(number="LF-1"):
    return make.PartTypeFactory(part_number=number)


def once(now, call=None, key="k", actor="user:1", request_hash="h", told=None):
    def effect():
        add()
        return Answer(201, '{"id": 1}', {"ETag": '"1"'})

    return run_once(
        actor=actor,
        key=key,
        request_hash=request_hash,
        now=now,
        call=call or effect,
        when_refused=told or (lambda error: None),
    )


def test_an_action_inside_joins_and_its_answer_is_remembered(now):
    answer, repeated = once(now)
    assert (answer.status, repeated) == (201, False)
    assert once(now) == (answer, True)
    assert PartType.objects.count() == 1


def test_another_request_under_the_same_key_is_refused(now):
    once(now)
    with pytest.raises(KeyReused):
        once(now, request_hash="other")


def test_while_the_first_runs_the_second_is_told_to_wait_and_does_nothing(now):
    IdempotencyRecord.objects.create(actor="user:1", key="k", request_hash="h", created_at=now)
    with pytest.raises(StillRunning):
        once(now + timedelta(seconds=1))
    assert not PartType.objects.exists()


def test_a_crash_before_the_commit_leaves_no_effect_and_the_key_lapses(now):
    def cut():
        add()
        raise PowerCut

    with pytest.raises(PowerCut):
        once(now, cut)
    assert not PartType.objects.exists()
    with pytest.raises(StillRunning):
        once(now + CLAIM_LASTS - timedelta(seconds=1))
    assert once(now + CLAIM_LASTS)[0].status == 201
    assert PartType.objects.count() == 1


def test_who_was_overtaken_after_its_claim_lapsed_has_no_effect(now):
    def slow():
        add("LF-slow")
        IdempotencyRecord.objects.update(created_at=now + CLAIM_LASTS)
        return Answer(201, "{}")

    with pytest.raises(StillRunning):
        once(now, slow)
    assert not PartType.objects.exists()


def test_an_error_that_may_pass_gives_the_key_back(now):
    def away():
        add()
        raise OperationalError("database is locked")

    with pytest.raises(OperationalError):
        once(now, away)
    assert not IdempotencyRecord.objects.exists()
    assert once(now)[0].status == 201


def test_a_refusal_is_remembered_and_has_no_effect(now):
    def refused():
        add()
        raise Conflict("no")

    told = Answer(409, "no")
    assert once(now, refused, told=lambda error: told) == (told, False)
    assert once(now) == (told, True)
    assert not PartType.objects.exists()


def test_answers_are_forgotten_after_a_day(now):
    once(now)
    assert once(now + ANSWERS_KEPT, call=lambda: Answer(200, ""))[1] is True
    late = now + ANSWERS_KEPT + timedelta(seconds=1)
    assert once(late, call=lambda: Answer(200, "")) == (Answer(200, ""), False)
    assert IdempotencyRecord.objects.count() == 1


def test_keys_belong_to_their_caller(now):
    once(now)
    assert once(now, call=lambda: Answer(200, ""), actor="key:1")[1] is False


@pytest.mark.django_db(transaction=True)
def test_outside_run_once_an_action_inside_an_action_is_an_error():
    @action
    def outer():
        add()

    with pytest.raises(RuntimeError, match="durable"):
        outer()
