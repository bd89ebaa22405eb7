"""Files from outside: how big they may be, and the process of its own in which they are read. Real children, no stand-ins."""

import os
import time
from dataclasses import replace

import pytest

from tests.confined_child import LIMITS
from tracker.confined import EmptyFile, FileRefused, FileTooLarge, check_size, read_in_child, say_bytes

unix = pytest.mark.skipif(not hasattr(os, "fork"), reason="limits of memory and time need a Unix")


def ask(doing: str, content: bytes = b"salt", limits=LIMITS):
    return read_in_child(
        "tests.confined_child", content, limits, doing, kinds=(FileRefused,), if_large="Send it in pieces."
    )


def test_what_the_child_read_comes_back():
    assert ask("tell")["text"] == "salt"


def test_the_child_knows_no_secret_and_no_database(monkeypatch):
    monkeypatch.setenv("SECRET_KEY", "not-for-children")
    monkeypatch.setenv("DATABASE_URL", "postgres://nobody")
    assert not {"SECRET_KEY", "DATABASE_URL"} & set(ask("tell")["knows"])


def test_a_refusal_of_the_child_is_told_in_its_own_kind_and_words():
    with pytest.raises(FileTooLarge) as refused:
        ask("refuse")
    told = refused.value
    assert (told.message, told.field, told.remedy) == ("It is a whale.", "file", "Send a minnow.")


def test_a_child_that_breaks_down_takes_nothing_with_it():
    with pytest.raises(FileTooLarge, match="1,024 MB of memory and 2 s") as refused:
        ask("abort")
    assert (refused.value.field, refused.value.remedy) == ("file", "Send it in pieces.")


def test_a_child_that_takes_too_long_is_ended():
    begun = time.monotonic()
    with pytest.raises(FileTooLarge, match="could not be read within"):
        ask("sleep", limits=replace(LIMITS, wall_seconds=0.5))
    assert time.monotonic() - begun < 5


@unix
@pytest.mark.parametrize("doing", ["fill", "spin"])
def test_the_child_cannot_take_more_than_its_memory_and_its_time(doing):
    begun = time.monotonic()
    with pytest.raises(FileTooLarge):
        ask(doing)
    assert time.monotonic() - begun < 15


@pytest.mark.parametrize("content", [b"", b" \n\t"])
def test_an_empty_file_is_refused_with_the_remedy_of_the_door(content):
    with pytest.raises(EmptyFile) as refused:
        check_size(content, 10, if_empty="Choose a file.", if_large="")
    assert (refused.value.field, refused.value.remedy) == ("file", "Choose a file.")


def test_a_file_over_the_limit_is_refused_naming_it():
    with pytest.raises(FileTooLarge, match=r"1\.5 MB; the limit is 1 MB") as refused:
        check_size(b"x" * (3 * 1024**2 // 2), 1024**2, if_empty="", if_large="Split it.")
    assert refused.value.remedy == "Split it."


def test_a_file_of_just_the_limit_is_taken():
    check_size(b"x" * 10, 10, if_empty="", if_large="")


@pytest.mark.parametrize(("count", "words"), [(8 * 1024**2, "8 MB"), (1_572_864, "1.5 MB"), (1, "0 MB")])
def test_bytes_are_said_in_megabytes(count, words):
    assert say_bytes(count) == words
