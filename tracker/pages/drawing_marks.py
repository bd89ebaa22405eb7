"""The marks of states: a shape with a letter for the drawing, its legend and the list, and hatchings for parts.

The shapes are those of desk.css: an octagon stops, a diamond is due, a ring comes soon; a square was measured.
"""

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from services.part_state import LETTERS, TITLES

HATCHED = ("overdue", "due", "soon", "watch")

# Around (0, 0) with a half width of 1.
_SHAPES = {
    "overdue": '<path class="solid" d="M-.42-1H.42L1-.42V.42L.42 1H-.42L-1 .42V-.42Z"/>',
    "due": '<path class="solid" d="M0-1.15L1.15 0L0 1.15L-1.15 0Z"/>',
    "soon": '<circle class="ring" r=".94"/>',
    "watch": '<path class="ring" d="M-.88-.88H.88V.88H-.88Z"/>',
    "fine": '<path class="tick" d="M-.62 .04L-.14 .52L.66-.5"/>',
    "unrecorded": '<circle class="ring gap" r=".94"/>',
    "empty": '<circle class="ring faint" r=".5"/>',
}
# Lines of a hatching on a tile: (tile side, path), in centimetres of the trike.
_HATCHES = {"overdue": (2, "M0 2L2 0"), "due": (2.6, "M0 2.6L2.6 0"), "soon": (3.4, "M0 3.4L3.4 0"),
            "watch": (2.4, "M1.2 .9v.6"), "mesh": (2.8, "M0 0L2.8 2.8M2.8 0L0 2.8")}  # fmt: skip


def mark(code: str, x: float, y: float, size: float) -> SafeString:
    """Return the mark of a state around (x, y), `size` px wide."""
    letter = LETTERS[code]
    words = format_html('<text class="letter" y=".46">{}</text>', letter) if letter else ""
    return format_html(
        '<g class="mark {}" transform="translate({} {}) scale({})" aria-hidden="true">{}{}</g>',
        code, f"{x:g}", f"{y:g}", f"{size / 2:g}", mark_safe(_SHAPES[code]), words,
    )  # fmt: skip


def list_mark(code: str) -> SafeString:
    """Return the mark of a state as a picture of its own, to stand before words that say the same."""
    return _ALONE[code]


def legend(codes: set[str]) -> list[tuple[SafeString, str]]:
    """Return (mark, words) of the states that a drawing shows, worst first."""
    return [(_ALONE[code], words) for code, words in TITLES.items() if code in codes]


def patterns(sheet: str) -> SafeString:
    """Return the hatchings as definitions whose names end with the sheet's."""
    return mark_safe(
        "".join(
            f'<pattern id="{name}-{sheet}" class="{name}" width="{side:g}" height="{side:g}" patternUnits="userSpaceOnUse">'
            f'<path d="{lines}"/></pattern>'
            for name, (side, lines) in _HATCHES.items()
        )
    )


_ALONE = {
    code: format_html('<svg class="key-mark" viewBox="-12 -12 24 24" aria-hidden="true">{}</svg>', mark(code, 0, 0, 18))
    for code in TITLES
}
