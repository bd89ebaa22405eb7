"""The language that sentences are told in: English as it is written here, any other by a catalogue of its own.

A door says in which language its reader reads (`speaking`); below it words are told by `say` and `say_many`, with numbers as
that language writes them. Where nobody says anything it is English, which is also what the record keeps. A sentence that a
catalogue lacks is told in English. Catalogues are those of GNU gettext (its manual, section 10, 'The Format of GNU MO Files').
"""

import gettext
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from numbers import Number
from pathlib import Path
from string import Formatter
from typing import Any, NamedTuple, TypeVar

ENGLISH = "en"
LANGUAGES = {ENGLISH: "English", "de": "Deutsch"}  # code -> the language's own name for itself
Table = TypeVar("Table")


class Catalogue(NamedTuple):
    """Where translations lie: `folder`/<code>/LC_MESSAGES/`domain`.mo."""

    domain: str
    folder: Path


OURS = Catalogue("services", Path(__file__).parent / "locale")
_AS_WRITTEN = gettext.NullTranslations()
_spoken: ContextVar[gettext.NullTranslations] = ContextVar("spoken", default=_AS_WRITTEN)
_code: ContextVar[str] = ContextVar("code", default=ENGLISH)


def known(code: str) -> str:
    """Return the code of a language we speak; English for any other."""
    return code if code in LANGUAGES else ENGLISH


@contextmanager
def speaking(code: str, *more: Catalogue) -> Iterator[None]:
    """Tell everything inside in the language of `code`, in English where we do not speak it. `more`: catalogues beside ours."""
    code = known(code)
    was, was_code = _spoken.set(_translations(code, more)), _code.set(code)
    try:
        yield
    finally:
        _spoken.reset(was)
        _code.reset(was_code)


def spoken() -> str:
    """Return the code of the language spoken."""
    return _code.get()


@cache
def _translations(code: str, more: tuple[Catalogue, ...]) -> gettext.NullTranslations:
    if code == ENGLISH:
        return _AS_WRITTEN
    first, *others = [gettext.translation(where.domain, where.folder, [code]) for where in (OURS, *more)]
    for other in others:
        first.add_fallback(other)
    return first


def say(text: str, **values: Any) -> str:
    """Return `text` in the language spoken, `values` filled in for the names in braces; numbers as the language writes them."""
    catalogue = _spoken.get()
    if catalogue is _AS_WRITTEN or not text:  # an empty text is a catalogue's own head
        return text.format(**values) if values else text
    return _filled(catalogue.gettext(text), values)


def say_many(one: str, many: str, number: float, **values: Any) -> str:
    """Return the form for `number` of things, which stands in it as {number}. Half of a thing is told as many."""
    whole = int(number) if number == int(number) else 2
    return _filled(_spoken.get().ngettext(one, many, whole), {"number": number, **values})


def _filled(told: str, values: Mapping[str, Any]) -> str:
    return _FILL.vformat(told, (), values) if values else told


def marked(table: Table) -> Table:
    """Return `table` as it is: a tuple, or a mapping whose values are texts to be told by `say` later. For the catalogues."""
    return table


def localised(figures: str) -> str:
    """Return a number written as '1,234.5' as the language writes it."""
    pattern = say("1,234.5")
    return figures.translate(str.maketrans({",": pattern[1], ".": pattern[5]}))


def say_number(value: float, form: str = "") -> str:
    """Return a number in a format such as ',.1f', as the language writes it."""
    return localised(format(value, form))


class _Filling(Formatter):
    """Fills texts like str.format; numbers are written as the language writes them."""

    def format_field(self, value: Any, format_spec: str) -> str:
        """Format one value."""
        told = format(value, format_spec)
        return localised(told) if isinstance(value, Number) else told


_FILL = _Filling()
