"""From plain data to a PDF, by typst: tagged (PDF/UA-1, ISO 14289-1), A4, fonts inside, nothing fetched.

What people typed reaches a template as JSON only, never as typst source: `#eval("1")` prints as it stands. The two fonts
of the papers come with the package; letters they lack are taken from the machine's own fonts, and what no font has is
written out: [bicycle], [U+674E].
"""

import json
import re
import threading
import unicodedata
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import typst

from services.identity import visible

TEMPLATES = Path(__file__).parent / "templates"
STANDARD = "ua-1"
ATTEMPTS = 3  # the first names all that no font has; line breaks may then fall elsewhere
_NO_GLYPH = re.compile(r'the text `"(.+?)"` could not be displayed')
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")  # as the compiler names what cannot be seen
# One paper at a time in a process: the compiler cannot be shared, and two long passports at once take twice the memory.
_ONE_AT_A_TIME = threading.Lock()


def print_paper(template: str, data: Mapping[str, Any], *, now: datetime, system_fonts: bool = True) -> bytes:
    """Return the PDF of `template` (its name without .typ) filled with `data`: text, numbers, lists and mappings.

    `now` is the date the file carries. Raises typst.TypstError for a template that does not fit its data.
    """
    shown = _each_text(data, visible)
    for _ in range(ATTEMPTS):
        try:
            return _compiled(template, shown, now, system_fonts)
        except typst.TypstError as error:
            written = {ord(character): written_out(character) for character in _missing(error)}
            if not written:
                raise
            shown = _each_text(shown, lambda text, written=written: text.translate(written))
    raise RuntimeError(f"{template}: there is always one more character that no font has")


def written_out(character: str) -> str:
    """Return a character that no font has in words: [bicycle] for a picture, [U+674E] for a letter, '' for what is unseen."""
    kind = unicodedata.category(character)
    if kind[0] in "CMZ":
        return ""
    name = unicodedata.name(character, "") if kind == "So" else ""
    return f"[{name.lower()}]" if name else f"[U+{ord(character):04X}]"


def _missing(error: typst.TypstError) -> set[str]:
    """The characters that no font has, where that is what the compiler complains about."""
    named = "".join(_NO_GLYPH.findall(error.diagnostic))
    seen = _ESCAPED.sub(lambda code: chr(int(code.group(1), 16)), named)
    return {character for character in seen if not character.isascii()}


def _compiled(template: str, data: Any, now: datetime, system_fonts: bool) -> bytes:
    with _ONE_AT_A_TIME:
        return _compiler(system_fonts).compile(
            str(TEMPLATES / f"{template}.typ"), format="pdf", sys_inputs={"data": json.dumps(data)},
            pdf_standards=[STANDARD], timestamp=int(now.timestamp()),
        )  # fmt: skip


@cache
def _compiler(system_fonts: bool) -> typst.Compiler:
    """The compiler with its fonts, found once per process. Its root keeps templates from reading anything else."""
    return typst.Compiler(b"", root=str(TEMPLATES), ignore_system_fonts=not system_fonts)


def _each_text(data: Any, change: Callable[[str], str]) -> Any:
    """The same data with every text changed; keys stay."""
    if isinstance(data, str):
        return change(data)
    if isinstance(data, Mapping):
        return {name: _each_text(value, change) for name, value in data.items()}
    if isinstance(data, list | tuple):
        return [_each_text(value, change) for value in data]
    return data
