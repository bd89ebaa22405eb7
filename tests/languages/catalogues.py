"""Which sentences owners can be told, and the catalogues that tell them in another language.

Two catalogues: services/locale for the trade, which speaks without Django, and tracker/locale for pages, letters and what
the service refuses. `python -m tests.languages` brings both up to date: new sentences come in untranslated, those that are
gone fall out, and the .mo files are written. No system gettext is needed.
"""

import ast
import io
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.template import Template
from django.templatetags.i18n import BlockTranslateNode, TranslateNode

from services.kinds import all_kinds
from services.language import ENGLISH, LANGUAGES
from services.parts import PART_KINDS
from services.positions import POSITIONS
from services.release import AREAS
from tracker.models import Occurrence

ROOT = Path(__file__).resolve().parents[2]
OWNER_TEMPLATES = [
    path for room in ("owner", "mail", "found") for path in sorted((ROOT / "tracker/templates" / room).iterdir())
]
WRITTEN = {"services": ROOT / "services", "django": ROOT / "tracker"}
OTHERS = [code for code in LANGUAGES if code != ENGLISH]
HEAD = "# What owners are told, in their language. Brought up to date by: python -m tests.languages"
LEFT_OUT = (
    b'"POT-Creation-Date', b'"PO-Revision-Date', b'"Generated-By', b'"Last-Translator', b'"Report-Msgid', b'"Language-Team',
)  # fmt: skip
Sentence = str | tuple[str, str]  # one form, or one and many


def sentences(domain: str) -> dict[Sentence, None]:
    """Return every sentence that a catalogue must have, in the order of the files."""
    found: list[Sentence] = []
    for path in sorted(WRITTEN[domain].rglob("*.py")):
        found += in_code(path.read_text())
    if domain == "services":
        found += of_the_trade()
    else:
        found += [words for path in OWNER_TEMPLATES for words in in_template(path.read_text())]
        found += Occurrence.Kind.labels
    return dict.fromkeys(words for words in found if words)


def of_the_trade() -> Iterator[str]:
    """What tables of the trade hold: tasks with what owners are told of them, places, kinds of part, what to look at."""
    for kind in all_kinds():
        yield from kind.cautions
        for task in kind.tasks:
            yield from (task.title, task.plain, task.verb)
    yield from (position.title for position in POSITIONS.values())
    yield from (kind.title for kind in PART_KINDS.values())
    yield from (area.to_owner for area in AREAS.values())


def in_code(source: str) -> Iterator[Sentence]:
    """The sentences in a module: arguments of say and say_many, texts of marked tables."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        texts = [arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)]
        if node.func.id in {"say", "gettext_lazy"}:
            yield from texts
        elif node.func.id == "say_many" and texts:
            yield texts[0], texts[1]
        elif node.func.id == "marked":
            yield from _in_table(node.args[0])


def _in_table(table: ast.expr) -> Iterator[str]:
    values = table.values if isinstance(table, ast.Dict) else getattr(table, "elts", [])
    yield from (value.value for value in values if isinstance(value, ast.Constant) and isinstance(value.value, str))


def in_template(source: str) -> Iterator[Sentence]:
    """The sentences in a template, exactly as Django will look them up."""
    nodes = Template(source).nodelist
    for node in nodes.get_nodes_by_type(TranslateNode):
        yield str(getattr(node.filter_expression.var, "literal", node.filter_expression.var))
    for node in nodes.get_nodes_by_type(BlockTranslateNode):
        one = node.render_token_list(node.singular)[0]
        yield (one, node.render_token_list(node.plural)[0]) if node.plural else one


def po_path(domain: str, code: str) -> Path:
    """Where the translations of a catalogue are written."""
    return WRITTEN[domain] / "locale" / code / "LC_MESSAGES" / f"{domain}.po"


def read(domain: str, code: str) -> Catalog:
    """Return the translations as they are written."""
    path = po_path(domain, code)
    return read_po(io.BytesIO(path.read_bytes()), locale=code) if path.exists() else Catalog(locale=code)


def compiled(catalog: Catalog) -> bytes:
    """Return the .mo file of a catalogue; the same sentences give the same octets."""
    catalog.creation_date = catalog.revision_date = datetime(2026, 11, 26, tzinfo=UTC)  # its head wants one
    out = io.BytesIO()
    write_mo(out, catalog)
    return out.getvalue()


def brought_up_to_date(domain: str, code: str) -> Catalog:
    """Return a catalogue with every sentence of today: translated as it was, else not yet."""
    old, new = read(domain, code), Catalog(locale=code, header_comment=HEAD, project="Larkfen Trikeworks", fuzzy=False)
    for words in sentences(domain):
        known = old.get(words[0] if isinstance(words, tuple) else words)
        new.add(words, known.string if known is not None else "")
    return new


def as_text(catalog: Catalog) -> bytes:
    """Return the .po file of a catalogue. A file of the same sentences is the same file: no dates, no names."""
    out = io.BytesIO()
    write_po(out, catalog, width=120, sort_output=False)
    return b"".join(line for line in out.getvalue().splitlines(keepends=True) if not line.startswith(LEFT_OUT))


def write(path: Path, catalog: Catalog) -> None:
    """Write the .po file and the .mo file beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(as_text(catalog))
    path.with_suffix(".mo").write_bytes(compiled(read_po(io.BytesIO(path.read_bytes()), locale=catalog.locale)))


def waiting(catalog: Catalog) -> list[str]:
    """Return the sentences that have no translation yet."""
    return [str(message.id) for message in catalog if message.id and not all(forms(message.string))]


def forms(words: object) -> tuple[str, ...]:
    """The forms of a sentence: one, or as many as the language has plurals and one."""
    return tuple(words) if isinstance(words, tuple | list) else (words,)
