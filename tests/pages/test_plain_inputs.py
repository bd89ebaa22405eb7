"""Inputs written out without templates: the same markup as Django's own templates draw."""

import re
from datetime import date, datetime

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates

from tests import factories as make
from tests.pages.conftest import carry
from tracker.pages import fields
from tracker.pages.plain_inputs import PlainInputs
from tracker.queries.cards import addable_tasks, card_page

NASTY = "\"><script>alert('1 & 2')</script>"


class Everything(forms.Form):
    """One of each widget the desk uses."""

    text = fields.text("Text", 80)
    scan = fields.scan("Serial", autofocus=True, hidden=False)
    number = fields.number("Number", unit="km")
    words = fields.words("Words", 400)
    choice = fields.choice("Choice", [("", "choose"), ("Group", [("a", NASTY), (NASTY, "b")]), (3, "three")])
    tick = fields.tick("Tick")
    day = fields.day("Day")
    moment = fields.moment("Moment")
    version = fields.version()
    password = forms.CharField(widget=forms.PasswordInput)


FILLED = {"text": NASTY, "scan": "F1", "number": "1.5", "words": f"\n{NASTY}", "choice": NASTY, "tick": "on",
          "day": "2026-05-01", "moment": "2026-05-01T10:00", "version": "3", "password": "x"}  # fmt: skip
INITIAL = {"number": 6000.0, "choice": 3, "tick": True, "day": date(2026, 5, 1), "moment": datetime(2026, 5, 1, 10, 0)}


def markup(bound: forms.BoundField, renderer: DjangoTemplates) -> str:
    """A widget's HTML without the blanks between tags, which the templates leave and a page does not show."""
    drawn = bound.field.widget.render(
        bound.html_name, bound.value(), bound.build_widget_attrs({"id": bound.auto_id}), renderer
    )
    return re.sub(r">\s+<", "><", drawn)


@pytest.mark.parametrize("name", list(Everything.base_fields))
@pytest.mark.parametrize("given", [{}, {"initial": INITIAL}, {"data": FILLED}, {"data": {}}])
def test_an_input_is_drawn_as_djangos_template_draws_it(name, given):
    form = Everything(**given)
    assert markup(form[name], PlainInputs()) == markup(form[name], DjangoTemplates())


def test_a_card_with_every_task_needs_no_template_per_input(workshop, mechanic):
    carry(workshop.trike, "elastomer", "elastomer-left", "E1")
    for fitment, free in list(addable_tasks(card_page(workshop.card.pk))):
        for task in free:
            make.JobTaskFactory(card=workshop.card, component=fitment.component, task=task.code)
    answer = mechanic.get(f"/jobs/{workshop.card.pk}/bench/")
    assert len(answer.context["rows"]) > 20
    assert [t.name for t in answer.templates if t.name and t.name.startswith("django/forms")] == []
