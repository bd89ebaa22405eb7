"""One row while it is being read: asks for values by column and collects every problem it meets."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import TypeVar

from services.errors import Refusal
from services.identity import canonical_serial, clean_text
from tracker.spreadsheets import values
from tracker.spreadsheets.refusals import BadText, DateInFuture, MissingCell, NotAChoice, OutOfRange, TooManyCells
from tracker.spreadsheets.sheet import Cell, is_blank, say

T = TypeVar("T")
_canonical = lru_cache(8192)(canonical_serial)  # a service book names each trike on many rows


@dataclass
class Row:
    """A row of the file by column name. Readers answer None for a blank cell and for one they note as a problem."""

    number: int
    cells: Mapping[str, Cell]
    problems: list[Refusal] = field(default_factory=list)

    @classmethod
    def of(cls, number: int, cells: Sequence[Cell], where: Mapping[str, int], width: int) -> "Row":
        """Return the row cut to columns. More cells than the header has are a problem, fewer are blanks."""
        row = cls(number, {name: cells[place] if place < len(cells) else None for name, place in where.items()})
        if len(cells) > width:
            row.problems.append(
                TooManyCells(
                    f"The row has {len(cells)} cells, the header {width}.",
                    remedy="Put quotation marks around text that contains the separator.",
                )
            )
        return row

    def raw(self) -> dict[str, str]:
        """Return what the row shows, for the preview. Characters that cannot be stored are marked."""
        return {name: _storable(say(cell)) for name, cell in self.cells.items()}

    def seen(self) -> tuple[str, ...]:
        """Return the row as people see it, to find exact repetitions."""
        return tuple(" ".join(say(cell).split()) for cell in self.cells.values())

    def is_blank(self, column: str) -> bool:
        """Whether nothing stands in the column, or the file has no such column (only some are optional)."""
        return is_blank(self.cells.get(column))

    def refuse(self, problem: Refusal) -> None:
        """Note a problem found by looking further than this row."""
        self.problems.append(problem)

    def text(self, column: str, limit: int, *, needed: bool = False) -> str:
        """Return the cleaned text, "" for a blank cell."""
        if self._is_absent(column, needed):
            return ""
        return self._try(column, lambda: _clean(self.cells[column], column, limit)) or ""

    def serial(self, column: str, *, needed: bool = False) -> str | None:
        """Return the canonical serial or plate."""
        if self._is_absent(column, needed):
            return None
        return self._try(column, lambda: _canonical(values.to_text(self.cells[column], column)))

    def number_in(self, column: str, low: float, high: float, *, needed: bool = False) -> Decimal | None:
        """Return the number if it lies in [low, high]."""
        if self._is_absent(column, needed):
            return None
        cell = self.cells[column]
        return self._try(column, lambda: values.within(values.to_number(cell, column), column, low, high))

    def day(self, column: str, shift_days: int, today: date, *, needed: bool = False) -> date | None:
        """Return the day, moved by the batch's shift; a day after `today` is a problem."""
        if self._is_absent(column, needed):
            return None
        day = self._try(column, lambda: values.to_day(self.cells[column], column, shift_days))
        if day is not None and day > today:
            self.problems.append(
                DateInFuture(f"{day:%d %b %Y} lies in the future.", field=column, remedy="Check the date of this row.")
            )
            return None
        return day

    def choice(self, column: str, choices: Mapping[str, T], *, needed: bool = False) -> T | None:
        """Return what the word stands for; words are compared without case, blanks and underscores."""
        if self._is_absent(column, needed):
            return None
        return self._try(column, lambda: _choose(self.cells[column], column, choices))

    def _is_absent(self, column: str, needed: bool) -> bool:
        absent = self.is_blank(column)
        if absent and needed:
            self.problems.append(MissingCell(f"'{column}' is empty.", field=column, remedy="Fill it in."))
        return absent

    def _try(self, column: str, read: Callable[[], T]) -> T | None:
        try:
            return read()
        except Refusal as problem:
            problem.field = column
            self.problems.append(problem)
            return None


@lru_cache(4096)
def fold_word(text: str) -> str:
    """Return a word as choices are compared."""
    return "".join(text.casefold().replace("_", " ").replace("-", " ").split())


@lru_cache(64)
def _folded(choices: tuple[tuple[str, T], ...]) -> dict[str, T]:
    return {fold_word(word): meaning for word, meaning in choices}


def _choose(cell: Cell, column: str, choices: Mapping[str, T]) -> T:
    text = values.to_text(cell, column)
    folded = _folded(tuple(choices.items()))
    if fold_word(text) not in folded:
        words = ", ".join(list(choices)[:12])
        raise NotAChoice(f"'{text[:40]}' is not known here.", field=column, remedy=f"Write one of: {words}.")
    return folded[fold_word(text)]


def _clean(cell: Cell, column: str, limit: int) -> str:
    text = values.to_text(cell, column)
    if len(text) > limit:
        raise OutOfRange(
            f"The text has {len(text):,} characters; the limit is {limit:,}.", field=column, remedy="Shorten it."
        )
    try:
        return clean_text(text, limit)
    except Refusal as problem:
        raise BadText(problem.message, field=column, remedy="Type the text again.") from None


def _storable(text: str) -> str:
    if text.isprintable():
        return text[:1000]
    return text.replace("\x00", "\N{REPLACEMENT CHARACTER}").encode("utf-8", "replace").decode()[:1000]
