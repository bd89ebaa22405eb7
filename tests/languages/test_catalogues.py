"""The catalogues hold every sentence owners can be told, translated, with the same values in it, compiled as written."""

import re
from string import Formatter

import pytest

from services.kinds import all_kinds
from tests.languages.catalogues import (
    OTHERS,
    OWNER_TEMPLATES,
    WRITTEN,
    as_text,
    brought_up_to_date,
    compiled,
    forms,
    in_code,
    in_template,
    po_path,
    read,
    sentences,
    waiting,
)

BOTH = [(domain, code) for domain in WRITTEN for code in OTHERS]
WORDED = [path for path in OWNER_TEMPLATES if path.suffix in {".html", ".txt"}]  # a script has words of its own
FORMS = pytest.mark.parametrize(("domain", "code"), BOTH)


def messages(domain: str, code: str) -> list:
    return [message for message in read(domain, code) if message.id]


@FORMS
def test_every_sentence_is_there_and_none_is_left_over(domain, code):
    there = {forms(message.id) for message in messages(domain, code)}
    assert there == {forms(words) for words in sentences(domain)}


@FORMS
def test_every_sentence_is_translated_and_none_is_a_guess(domain, code):
    assert waiting(read(domain, code)) == []
    assert [message.id for message in messages(domain, code) if message.fuzzy] == []


@FORMS
def test_a_translation_has_as_many_forms_as_the_language(domain, code):
    catalog = read(domain, code)
    assert all(len(forms(m.string)) == catalog.num_plurals for m in messages(domain, code) if isinstance(m.id, tuple))


@FORMS
def test_a_translation_tells_the_same_values(domain, code):
    differ = [
        (message.id, told)
        for message in messages(domain, code) for told in forms(message.string)
        if values_in(told) != values_in(forms(message.id)[-1])
    ]  # fmt: skip
    assert differ == []


def values_in(text: str) -> set[str]:
    """The names of the values filled in: {name} in code, %(name)s in templates."""
    if re.search(r"%\(\w+\)s", text):
        return set(re.findall(r"%\((\w+)\)s", text))
    return {f"{name}:{spec}" for _, name, spec, _ in Formatter().parse(text) if name is not None}


@FORMS
def test_a_translation_ends_as_the_sentence_does(domain, code):
    differ = [
        message.id for message in messages(domain, code)
        if forms(message.id)[0][-1:] in ".?:," and forms(message.id)[0][-1:] != forms(message.string)[0][-1:]
    ]  # fmt: skip
    assert differ == []


@FORMS
def test_the_compiled_catalogue_is_what_is_written(domain, code):
    assert po_path(domain, code).with_suffix(".mo").read_bytes() == compiled(read(domain, code))


@pytest.mark.parametrize("path", WORDED, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_no_word_of_an_owners_template_stands_outside_the_catalogue(path):
    said = r"{% blocktranslate\b.*?{% endblocktranslate %}|{% block copy %}.*?{% endblock %}|<style>.*?</style>"
    text = re.sub(rf"{said}|{{%.*?%}}|{{{{.*?}}}}", "", path.read_text(), flags=re.DOTALL)
    shown = re.findall(r'\b(?:aria-label|alt|title|placeholder)="([^"]*)"', text)
    words = re.findall(r"[^\W\d_]{2,}", " ".join([*shown, re.sub(r"<[^>]*>", " ", text)]))
    assert set(words) <= {"km", "MB"}


def test_a_template_is_read_as_django_will_read_it():
    source = (
        '{% load i18n %}{% translate "One" %}{% if x %}{% translate "Two" as two %}{% endif %}'
        "{% blocktranslate with a=b.c %}Three {{ a }}{% endblocktranslate %}"
        "{% blocktranslate count n=m %}{{ n }} job{% plural %}{{ n }} jobs{% endblocktranslate %}"
    )
    assert list(in_template(source)) == ["One", "Two", "Three %(a)s", ("%(n)s job", "%(n)s jobs")]


def test_a_module_is_read_with_its_tables():
    source = 'X = marked({1: "a", 2: "b" "c"})\nY = marked(("d", 3))\nsay("e{x}", x=say("f"))\nsay_many("g", "h", 2)\nsay(X[1])\n'
    assert sorted(map(str, in_code(source))) == ["('g', 'h')", "a", "bc", "d", "e{x}", "f"]


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("kind", all_kinds(), ids=lambda kind: kind.code)
def test_every_kind_of_service_has_its_title_its_reason_and_its_cautions(kind, code):
    known = {message.id: message.string for message in messages("services", code)}
    told = [*kind.cautions, *(words for task in kind.tasks for words in (task.title, task.plain, task.verb))]
    same = {"Display"}  # the same word in both
    assert [words for words in told if words and words not in same and known[words] in {"", words}] == []


@FORMS
def test_bringing_a_catalogue_up_to_date_changes_nothing(domain, code):
    assert as_text(brought_up_to_date(domain, code)) == po_path(domain, code).read_bytes()
