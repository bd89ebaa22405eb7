"""Bulletins: which components a notice touches, how far the work has come, and words that must not soften a hazard.

A bulletin names part types and, within them, serial ranges, batches, a window of making days, firmware. What is not known
of a component cannot be excluded: it is inspected. Serials are compared in natural order, A9 before A10, by `order_key`,
which a database can index. Match present and past fitments and stock: a moved part follows its new trike.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from services.errors import Refusal
from services.identity import natural_key
from services.units import say_share

AFFECTED, CANNOT_EXCLUDE, NOT_AFFECTED = "affected", "cannot be excluded: inspect", "not affected"

# States of one component under a bulletin, and where each may go.
MOVES: dict[str, frozenset[str]] = {
    "affected": frozenset({"notified", "booked", "corrected", "inspected", "scrapped", "refused", "unreachable"}),
    "notified": frozenset({"booked", "corrected", "inspected", "scrapped", "refused", "unreachable"}),
    "booked": frozenset({"notified", "corrected", "inspected", "scrapped", "refused", "unreachable"}),
    "refused": frozenset({"notified", "booked", "corrected", "inspected", "scrapped", "unreachable"}),
    "unreachable": frozenset({"notified", "booked", "corrected", "inspected", "scrapped", "refused"}),
    "corrected": frozenset({"affected"}),  # a repetitive bulletin falls due again
    "inspected": frozenset({"affected"}),
    "scrapped": frozenset(),
}
STATES = tuple(MOVES)
DONE = frozenset({"corrected", "inspected", "scrapped"})  # inspected: and found not affected
# Share of consumers whose product was corrected in closed US cases, fiscal years 2013 to 2016: all; where at least 95 % were
# told directly; by press release alone. Source: US Consumer Product Safety Commission, recall effectiveness slides, July 2017.
CORRECTED_ELSEWHERE = {"overall": 0.65, "told directly": 0.50, "press release": 0.06}
TOLD_DIRECTLY = 0.95

MARK_LENGTH = 100  # NFKC may lengthen a text of 40 characters, seldom so far
HEADLINE = "Product safety recall"
# Words that lessen how a risk is felt: Regulation (EU) 2023/988, Article 36(2)(c), names "voluntary" and "in rare
# situations" among others; the rest are of their kind (common practice, no source).
_SOFTENING = re.compile(
    r"\b(?:voluntar(?:y|ily)|precaution(?:s|ary)?|discretionary|optional(?:ly)?|"
    r"in (?:very |extremely |only |a few |some )?(?:rare|specific|isolated|exceptional|certain|few) "
    r"(?:situation|case|circumstance|instance|condition)s?|in rare (?:\w+ )?(?:situation|case|circumstance|instance)s?|"
    r"(?:very |extremely )?rarely|(?:highly |very )?unlikely|minor|merely|small number of|"
    # the same article in German, from memory, and words of their kind (common practice, no source)
    r"freiwillig\w*|vorsorglich\w*|vorsichtshalber|sicherheitshalber|(?:nach|im) (?:\w+ )?ermessen|"
    r"in (?:sehr |äußerst |nur |einigen |wenigen )?(?:seltenen|bestimmten|einzelnen|wenigen) (?:situationen|fällen)|"
    r"(?:sehr |äußerst )?selten|(?:sehr |höchst )?unwahrscheinlich|geringfügig\w*|lediglich|"
    r"(?:bisher |bislang )?keine (?:\w+ )?unfälle|"
    r"no (?:reported |known )?(?:accident|incident|injur(?:y|ie))s?(?: (?:has|have) been reported)?)\b",
    re.IGNORECASE,
)


class BadScope(Refusal):
    """A bulletin whose range cannot be: it runs backwards, or names no part type."""

    code = "bad-scope"


class BadStep(Refusal):
    """A component cannot go from its state under a bulletin to the one asked for."""

    code = "bad-bulletin-step"


@dataclass(frozen=True)
class Piece:
    """What is known of a component; empty or None: not known."""

    part_type: str
    serial: str = ""
    batch: str = ""
    made_on: date | None = None
    firmware: str = ""


@dataclass(frozen=True)
class Scope:
    """What a bulletin names. Empty: not asked for. All that is named must hold; within one of them any will do.

    serials: (first, last) ranges, both ends included. made_from, made_until: days, both included.
    """

    part_types: frozenset[str]
    serials: tuple[tuple[str, str], ...] = ()
    batches: frozenset[str] = frozenset()
    made_from: date | None = None
    made_until: date | None = None
    firmware: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Softened:
    """A word that softens, as it stands in the text, and where: text[start:end]."""

    words: str
    start: int
    end: int


@dataclass(frozen=True)
class Progress:
    """Counts of components by state, and the owners who can be told directly of all owners."""

    states: Mapping[str, int] = field(default_factory=dict)
    contactable: int = 0
    owners: int = 0

    @property
    def affected(self) -> int:
        """All components under the bulletin, whatever their state."""
        return sum(self.states.values())

    @property
    def completion(self) -> float:
        """Share corrected, found not affected, or scrapped; 1 where none is affected."""
        return self._share(DONE)

    @property
    def corrected(self) -> float:
        """Share corrected alone; 1 where none is affected."""
        return self._share({"corrected"})

    @property
    def contactable_share(self) -> float:
        """Share of owners who can be told directly; 1 where there is no owner."""
        return self.contactable / self.owners if self.owners else 1.0

    def _share(self, states: frozenset[str] | set[str]) -> float:
        done = sum(count for state, count in self.states.items() if state in states)
        return done / self.affected if self.affected else 1.0

    def words(self) -> str:
        """Return the progress in a sentence, with the benchmark where owners can be told directly."""
        told = f"{sum(self.states.get(state, 0) for state in DONE)} of {self.affected} done ({say_share(self.completion, 1)})"
        told += f", {say_share(self.corrected, 1)} corrected; {self.contactable} of {self.owners} owners can be told directly"
        if self.contactable_share < TOLD_DIRECTLY:
            return told + f" - below the {say_share(TOLD_DIRECTLY)} that direct notice needs: look for the others."
        return told + "."


def order_key(serial: str) -> str:
    """Return a text whose plain order (by code point, collation "C") is the natural order of canonical serials.

    Runs of digits become their length and value, before any letter: A9 < A10, and A010 equals A10. Serials as
    `identity.canonical_serial` gives them, no run of digits longer than 99.
    """
    return "".join(
        f"\x01{len(str(part)):02d}{part}" if is_text == 0 else str(part) for is_text, part in natural_key(serial)
    )


def fold_mark(text: str) -> str:
    """Return a batch or a firmware version as it is compared: case, width, blanks and what cannot be seen do not count.

    Two people type 'K-17' and 'k-17 ' for one batch; a bulletin must not miss either.
    """
    wide = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).upper())
    return "".join(char for char in wide if not char.isspace() and unicodedata.category(char)[0] != "C")[:MARK_LENGTH]


def check_scope(scope: Scope) -> None:
    """Raise BadScope where no part type is named, or a serial range or the window of making days runs backwards."""
    if not scope.part_types:
        raise BadScope("A bulletin names at least one part type.", field="part_types")
    for first, last in scope.serials:
        if not first or not last or order_key(first) > order_key(last):
            raise BadScope(
                f"The range {first or '?'} to {last or '?'} runs backwards or is open.",
                field="serials", remedy="Give the lower serial first, and both.",
            )  # fmt: skip
    if scope.made_from and scope.made_until and scope.made_from > scope.made_until:
        raise BadScope("The making days run backwards.", field="made_from", remedy="Give the earlier day first.")


def match(scope: Scope, piece: Piece) -> str:
    """Return whether a component is affected, cannot be excluded because something of it is not known, or is not affected."""
    if piece.part_type not in scope.part_types:
        return NOT_AFFECTED
    answers = (_serial(scope, piece), _batch(scope, piece), _made(scope, piece), _firmware(scope, piece))
    if False in answers:
        return NOT_AFFECTED
    return CANNOT_EXCLUDE if None in answers else AFFECTED


def _serial(scope: Scope, piece: Piece) -> bool | None:
    if not scope.serials:
        return True
    if not piece.serial:
        return None
    key = order_key(piece.serial)
    return any(order_key(first) <= key <= order_key(last) for first, last in scope.serials)


def _batch(scope: Scope, piece: Piece) -> bool | None:
    return _one_of(piece.batch, scope.batches)


def _firmware(scope: Scope, piece: Piece) -> bool | None:
    return _one_of(piece.firmware, scope.firmware)


def _one_of(known: str, named: frozenset[str]) -> bool | None:
    if not named:
        return True
    return known in named if known else None


def _made(scope: Scope, piece: Piece) -> bool | None:
    if scope.made_from is None and scope.made_until is None:
        return True
    if piece.made_on is None:
        return None
    return (scope.made_from or date.min) <= piece.made_on <= (scope.made_until or date.max)


def check_step(before: str, after: str) -> None:
    """Raise BadStep where a component cannot go from one state to another; what is scrapped stays scrapped."""
    if after not in MOVES.get(before, frozenset()):
        raise BadStep(
            f"A component that is {before} cannot become {after}.", field="state",
            remedy=f"Possible: {', '.join(sorted(MOVES.get(before, ()))) or 'nothing'}.",
        )  # fmt: skip


def softening_words(text: str) -> tuple[Softened, ...]:
    """Return the words of a hazard notice that lessen how the risk is felt, in their order; a warning, not a refusal.

    Source: Regulation (EU) 2023/988, Article 36(2)(c).
    """
    return tuple(Softened(found.group(), found.start(), found.end()) for found in _SOFTENING.finditer(text))


def notice_warnings(headline: str, text: str) -> tuple[str, ...]:
    """Return what to put right in a hazard notice before it goes out, a sentence each: headline, softening words.

    Source: Regulation (EU) 2023/988, Article 36(2). Orientation, not legal advice.
    """
    warnings = [] if headline.strip().casefold() == HEADLINE.casefold() else [f"The headline must be '{HEADLINE}'."]
    for found in softening_words(f"{headline}\n{text}"):
        warnings.append(f"'{found.words}' softens the hazard: leave it out (Regulation (EU) 2023/988, Article 36).")
    return tuple(warnings)
