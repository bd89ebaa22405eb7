import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.bounces import Kind, Returned, read_returned
from tests.services.bounce_samples import LETTER_ID, RIDER, SAMPLES, SENDER, answer, complaint, dsn, fields

MAILS = [mail for mail, _, _ in SAMPLES.values()]


@pytest.mark.parametrize("name", SAMPLES)
def test_what_comes_back_is_told_apart(name):
    mail, kind, status = SAMPLES[name]
    read = read_returned(mail)
    assert (read.kind, read.status) == (kind, status)


def test_there_are_forty_samples_and_more():
    assert len(SAMPLES) >= 40
    assert {kind for _, kind, _ in SAMPLES.values()} == set(Kind)


def test_a_report_says_whom_it_could_not_reach_and_why():
    read = read_returned(dsn(fields("failed", "5.1.1", "550 5.1.1 No such user")))
    assert (read.recipient, read.note) == (RIDER, "550 5.1.1 No such user")


def test_whom_we_wrote_to_goes_before_where_it_was_passed_on():
    passed_on = f"Original-Recipient: rfc822;{RIDER}\n" + fields("failed", "5.1.1", recipient="other@example.com")
    assert read_returned(dsn(passed_on)).recipient == RIDER


@pytest.mark.parametrize("returned", ["message/rfc822", "text/rfc822-headers"])
def test_a_report_names_the_letter_it_speaks_of(returned):
    read = read_returned(dsn(fields("failed", "5.1.1"), returned=returned))
    assert (read.addresses, read.message_ids) == ((SENDER,), (LETTER_ID,))


def test_an_answer_names_the_letter_it_answers():
    assert read_returned(answer("Re: trike")).message_ids == (LETTER_ID,)


def test_a_complaint_whose_head_is_blacked_out_still_names_our_sender_address():
    mail = complaint().replace(f"\r\nTo: {SENDER}".encode(), b"\r\nTo: abuse@example.org", 1)
    assert SENDER in read_returned(mail).addresses


def test_an_enormous_mail_is_read_in_part():
    mail = dsn(fields("failed", "5.1.1")) + b"x" * 2_000_000
    assert read_returned(mail).kind is Kind.HARD


@given(st.sampled_from(MAILS), st.integers(0, 2000), st.binary(max_size=40), st.integers(0, 300))
def test_whatever_is_broken_in_it_it_is_read(mail, place, noise, lost):
    assert isinstance(read_returned(mail[:place] + noise + mail[place + lost :]), Returned)


@given(st.binary(max_size=300))
def test_any_octets_are_read(octets):
    assert isinstance(read_returned(octets), Returned)
