"""The drawing of a trike with the state of every position: parts to look at, labels to follow.

A state is told by words and a letter, by the shape of its mark and the hatching of the part, and by a colour on top. The
labels are links in the order of reading: down the left side from front to rear, then down the right. Colours and line
widths are classes of trike.css. It is drawn twice, as charts are: letters in a scaled drawing become too small.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from services.part_state import PartState, full_words, short_words
from services.positions import POSITIONS
from tracker.pages.drawing_marks import HATCHED, mark, patterns
from tracker.pages.drawing_shapes import AXES, BOTTOM, HIDDEN, OUTLINES, STILL, STILL_BODIES, TOP
from tracker.queries.trike_parts import Place


@dataclass(frozen=True)
class Sheet:
    """The measures of one drawing in px: its width, one centimetre of the trike, the room for words, their height.

    A phone has more height than width: there the trike is drawn longer than it is.
    """

    name: str
    width: float
    scale: float  # across
    along: float  # from front to rear
    words: float
    letter: float
    pitch: (
        float  # from label to label: a finger needs 44 px of the screen, also where a phone of 360 px scales the sheet
    )

    @property
    def middle(self) -> float:
        """x of the middle of the trike."""
        return self.width / 2


SHEETS = (
    Sheet("wide", 520, 2.46, 2.46, 128, 14, 46),
    Sheet("narrow", 344, 1.36, 1.96, 92, 11.5, 49),
)
MARGIN, GAP = 8.0, 6.0
SIDES = ("left", "right")
SHORT = {"shifter": "shifter", "castors": "castors"}
SHORTER = {"elastomer-left": "left elast.", "elastomer-right": "right elast."}  # on a phone


@dataclass(frozen=True)
class Label:
    """Words beside the drawing, with the point on the trike that their line leads to (px)."""

    place: Place
    x: float
    y: float

    @property
    def side(self) -> str:
        """Whether it stands left or right."""
        return OUTLINES[self.place.code].side


def trike_drawing(places: Sequence[Place], today: date) -> SafeString:
    """Return the drawing of a trike with these places, for the desk and for a phone."""
    return mark_safe("".join(_draw(sheet, places, today) for sheet in SHEETS))


def _draw(sheet: Sheet, places: Sequence[Place], today: date) -> SafeString:
    named = [place for place in places if place.state.code != "empty"]
    height = max(_length(sheet), *(_rows(named, side) * sheet.pitch + 2 * MARGIN for side in SIDES))
    top = (height - _length(sheet)) / 2 + MARGIN
    labels = [Label(place, *_point(sheet, place.code, top)) for place in named]
    columns = {side: sorted((one for one in labels if one.side == side), key=_height) for side in SIDES}
    words = "".join(
        _label(sheet, label, at, today)
        for rows in columns.values()
        for label, at in zip(rows, spread([row.y for row in rows], height, sheet.pitch), strict=True)
    )
    states = {place.code: place.state for place in places}
    return format_html(
        '<svg class="plan {name}" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="group" '
        'aria-labelledby="plan-{name}"><title id="plan-{name}">The trike from above, front at the top: each part leads to '
        'its row below</title><defs>{defs}</defs><g aria-hidden="true" transform="translate({x} {y}) scale({scale} {along})">'
        "{trike}</g>{words}</svg>",
        name=sheet.name, width=f"{sheet.width:g}", height=f"{height:.0f}", defs=patterns(sheet.name),
        x=f"{sheet.middle:g}", y=f"{top - TOP * sheet.along:g}", scale=f"{sheet.scale:g}", along=f"{sheet.along:g}",
        trike=mark_safe(_trike(sheet, states)), words=mark_safe(words),
    )  # fmt: skip


def _length(sheet: Sheet) -> float:
    return (BOTTOM - TOP) * sheet.along + 2 * MARGIN


def _rows(places: Sequence[Place], side: str) -> int:
    return sum(OUTLINES[place.code].side == side for place in places)


def _point(sheet: Sheet, code: str, top: float) -> tuple[float, float]:
    x, y = OUTLINES[code].at
    return round(sheet.middle + x * sheet.scale, 1), round(top + (y - TOP) * sheet.along, 1)


def _height(label: Label) -> tuple[float, float]:
    """From front to rear; of two at the same height the outer one first, so that lines do not cross."""
    return label.y, abs(label.x) if label.side == "right" else -abs(label.x)


# The trike itself


def _trike(sheet: Sheet, states: dict[str, PartState]) -> str:
    below = (
        f'<path class="axis" d="{AXES}"/><path class="still" d="{STILL}"/><path class="still body" d="{STILL_BODIES}"/>'
    )
    parts = "".join(_part(sheet, code, states[code].code) for code in OUTLINES)
    return f'{below}{parts}<path class="hidden" d="{HIDDEN}"/>'


def _part(sheet: Sheet, code: str, state: str) -> str:
    """One part: a body in the colour of its state, hatched where it asks for something, its details over it."""
    outline = OUTLINES[code]
    css = " ".join(name for name in ("line", "open", "links", "always") if getattr(outline, f"is_{name}"))
    hatch = (
        f'<path class="hatch" fill="url(#{state}-{sheet.name})" d="{outline.body}"/>' if _hatched(code, state) else ""
    )
    mesh = f'<path class="hatch" fill="url(#mesh-{sheet.name})" d="{outline.body}"/>' if code == "seat" else ""
    details = f'<path class="detail" d="{outline.details}"/>' if outline.details else ""
    return f'<g class="part {state} {css}"><path class="body" d="{outline.body}"/>{mesh}{hatch}{details}</g>'


def _hatched(code: str, state: str) -> bool:
    return state in HATCHED and not OUTLINES[code].is_line


# The words beside it


def spread(wanted: Sequence[float], height: float, pitch: float) -> list[float]:
    """Return heights as near to the wanted ones (ascending) as rows of labels can stand `pitch` apart; `height` has room.

    Least squares of the shifts under a smallest distance: neighbours that would touch are moved as one block.
    """
    blocks: list[tuple[float, int]] = []  # (mean of what is left after each one's own place in the row, how many)
    for row, at in enumerate(wanted):
        mean, count = at - row * pitch, 1
        while blocks and blocks[-1][0] > mean:
            before, many = blocks.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        blocks.append((mean, count))
    means = [mean for mean, count in blocks for _ in range(count)]
    low, high = MARGIN + pitch / 2, height - MARGIN - pitch / 2 - (len(wanted) - 1) * pitch
    return [round(min(max(mean, low), high) + row * pitch, 1) for row, mean in enumerate(means)]


def _label(sheet: Sheet, label: Label, y: float, today: date) -> str:
    """A name, its state, a mark, and the thin line to the part; a link to the row of the part where one is fitted."""
    code, state = label.place.code, label.place.state
    left = label.side == "left"
    way = 1 if left else -1
    edge = 0.0 if left else sheet.width
    text_x, mark_x = edge + way * sheet.words, edge + way * (sheet.words + GAP + sheet.letter * 0.62)
    start = mark_x + way * sheet.letter * 0.8
    line = f"M{start:g} {y:g}h{way * GAP:g}L{label.x:g} {label.y:g}"
    title = POSITIONS[code].title
    words = format_html(
        '<path class="halo" d="{line}"/><path class="leader" d="{line}"/><circle class="tip" cx="{x}" cy="{end}" r="2"/>'
        '<text x="{tx}" y="{y1}" text-anchor="{anchor}"><tspan class="name">{title}</tspan>'
        '<tspan class="state" x="{tx}" y="{y2}">{said}</tspan></text>{mark}',
        line=line, x=f"{label.x:g}", end=f"{label.y:g}", tx=f"{text_x:g}", y1=f"{y - 2:g}",
        y2=f"{y + sheet.letter - 1:g}", anchor="end" if left else "start", title=short_title(code, sheet),
        said=short_words(state, today), mark=mark(state.code, mark_x, y, sheet.letter * 1.3),
    )  # fmt: skip
    if label.place.part is None:
        return format_html('<g class="call {}">{}</g>', state.code, words)
    reach = sheet.words + GAP + sheet.letter * 1.5
    return format_html(
        '<a class="call {css}" href="#part-{code}" aria-label="{title}: {said}"><rect class="target" x="{x}" y="{y}" '
        'width="{width}" height="{height}" rx="4"/>{words}</a>',
        css=state.code, code=code, title=title.capitalize(), said=full_words(state, today),
        x=f"{0 if left else sheet.width - reach:g}", y=f"{y - sheet.pitch / 2:g}", width=f"{reach:g}",
        height=f"{sheet.pitch:g}", words=words,
    )  # fmt: skip


def short_title(code: str, sheet: Sheet) -> str:
    """Return a position's title as it fits beside the drawing."""
    known = SHORT | SHORTER if sheet.name == "narrow" else SHORT
    return known.get(code, POSITIONS[code].title).capitalize()
