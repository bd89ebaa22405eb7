"""The form of a bulletin: what it touches, what can happen, what is to be done; and what of it a link has filled in."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.http import QueryDict

from services.bulletin_words import listed, ranges_typed, serial_ranges
from services.bulletins import Scope, fold_mark
from services.errors import Refusal
from services.language import ENGLISH, LANGUAGES
from tracker.actions.bulletins import FOR_OWNERS
from tracker.models import Bulletin, PartType
from tracker.pages import fields
from tracker.pages.answers import sentence

KEPT = ("title", "severity", "is_hazard", "hazard", "stop_riding", "remedy", "work", "minutes", "deadline_on", "deadline_km",
        "every_months", "every_km", "made_from", "made_until", "note")  # fmt: skip
OTHERS = {code: name for code, name in LANGUAGES.items() if code != ENGLISH}
COMPARED = [*KEPT]
MINUTES = 30
LIST_HELP = "Several: with commas between them."


class BulletinForm(fields.Form):
    """One bulletin. Empty parts of the scope are not asked for; what is named must all hold."""

    also = {"part_types": "find"}
    title = fields.text("What it is about", 120, required=True, help_text="As people will say it: part and fault.")
    severity = fields.choice("How urgent", Bulletin.Severity.choices)
    find = fields.text(
        "Add a part type", 200, list="every_part_type", autocomplete="off", placeholder="name or part number"
    )
    serials = fields.words("Serials", 4000, rows=2, help_text="One range a line, both ends included: A100 to A149.")
    batches = fields.text("Batches", 400, help_text=LIST_HELP)
    made_from = fields.day("Made from", required=False)
    made_until = fields.day("Made until", required=False)
    firmware = fields.text("Firmware", 400, help_text=LIST_HELP)
    is_hazard = fields.tick("Somebody can be hurt", "Every owner gets a safety notice, also who stopped reminders.")
    hazard = fields.words("What can happen", 2000, help_text="Which part fails how, and what that does to the rider.")
    remedy = fields.words("What we do about it", 2000, help_text="In words for the owner; free of charge.")
    stop_riding = fields.words(
        "Until then", 400, rows=2, help_text="What the owner does now: stop riding, how to make it safe."
    )
    work = fields.words("At the bench", 2000, rows=2, help_text="What is checked and done, for the mechanic.")
    minutes = fields.whole("Takes", unit="min", required=False, help_text="For each component.")
    deadline_on = fields.day("Done by", required=False)
    deadline_km = fields.number(
        "Or within", unit="km", required=False, help_text="Of the part's own life, from the release."
    )
    every_months = fields.whole("Again every", unit="months", required=False)
    every_km = fields.number("Or every", unit="km", required=False)
    note = fields.words("Note for the workshop alone", 2000, rows=2)
    version = fields.version()

    def __init__(self, *args: Any, chosen: Iterable[int] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ids = self.data.getlist("part_types") if isinstance(self.data, QueryDict) else map(str, chosen)
        self.catalogue = {row.pk: row for row in PartType.objects.all()}
        self.chosen = [self.catalogue[int(pk)] for pk in dict.fromkeys(ids) if _is_id(pk) and int(pk) in self.catalogue]
        for code, language in OTHERS.items():
            for name in FOR_OWNERS:
                english = self.fields[name]
                self.fields[f"{name}_{code}"] = fields.words(
                    f"{english.label} ({language})", english.max_length, rows=2
                )

    def differing_words(self, row: Bulletin) -> list[tuple[str, str, str]]:
        """Return (label, what stands, what was typed) of each text in another language that differs."""
        stands, told = words_in_others(row), []
        for _, _, some, _ in self.in_others():
            for bound in some:
                kept, typed = stands.get(bound.name, ""), self.cleaned_data.get(bound.name, "")
                if kept != typed:
                    told.append((bound.label, kept, typed))
        return told

    def in_others(self) -> list[tuple[str, str, list[forms.BoundField], bool]]:
        """Return (code, language, its fields, whether something stands in one) of each language but English."""
        groups = [(code, name, [self[f"{part}_{code}"] for part in FOR_OWNERS]) for code, name in OTHERS.items()]
        return [(code, name, some, any(one.value() or one.errors for one in some)) for code, name, some in groups]

    def clean(self) -> dict[str, Any]:
        """Take in the part type that was typed; say beside the list where none is chosen."""
        typed = self.cleaned_data.get("find", "")
        found = self._named(typed) if typed else None
        if typed and found is None:
            self.add_error("find", "No part type has this name or number. Choose one from the list.")
        elif found is not None and found not in self.chosen:
            self.chosen.append(found)
        if not self.chosen and not typed:
            self.add_error("find", "A bulletin names at least one part type.")
        return self.cleaned_data

    def clean_serials(self) -> tuple[tuple[str, str], ...]:
        """Return the ranges."""
        try:
            return serial_ranges(self.cleaned_data["serials"])
        except Refusal as refusal:
            raise forms.ValidationError(sentence(refusal)) from None

    def clean_batches(self) -> tuple[str, ...]:
        """Return the batches."""
        return listed(self.cleaned_data["batches"])

    def clean_firmware(self) -> tuple[str, ...]:
        """Return the firmware versions."""
        return listed(self.cleaned_data["firmware"])

    def values(self) -> dict[str, Any]:
        """Return the bulletin as the actions take it. Who must stop riding is in danger, so that needs no second tick."""
        kept = {name: self.cleaned_data[name] for name in KEPT}
        kept["is_hazard"] = kept["is_hazard"] or kept["severity"] == Bulletin.Severity.STOP
        kept["minutes"] = kept["minutes"] if kept["minutes"] is not None else MINUTES
        return kept | {
            "part_types": [row.pk for row in self.chosen], "serials": self.cleaned_data["serials"],
            "batches": self.cleaned_data["batches"], "firmware": self.cleaned_data["firmware"],
            "texts": {code: {name: self.cleaned_data[f"{name}_{code}"] for name in FOR_OWNERS} for code in OTHERS},
        }  # fmt: skip

    def scope(self) -> Scope:
        """Return what is named so far; what was refused counts as not asked for."""
        told = self.cleaned_data if self.is_bound else self._prepared()
        return Scope(
            part_types=frozenset(row.part_number for row in self.chosen), serials=tuple(told.get("serials") or ()),
            batches=frozenset(map(fold_mark, told.get("batches") or ())), made_from=told.get("made_from"),
            made_until=told.get("made_until"), firmware=frozenset(map(fold_mark, told.get("firmware") or ())),
        )  # fmt: skip

    def _prepared(self) -> dict[str, Any]:
        """What a link or the draft filled in."""
        given = self.initial
        told = {"made_from": given.get("made_from"), "made_until": given.get("made_until")}
        told |= {name: listed(given.get(name, "")) for name in ("batches", "firmware")}
        try:
            return told | {"serials": serial_ranges(given.get("serials", ""))}
        except Refusal:
            return told

    def said(self, name: str) -> str:
        """Return a text as it stands in the form now."""
        return str(self[name].value() or "").strip()

    def look_only(self) -> None:
        """Show the form as filled in so far, with no refusal beside any field but the part type's: nothing is to be saved."""
        kept = {
            name: errors for name, errors in self.errors.items() if name == "find" and self.cleaned_data.get("find")
        }
        self.errors.clear()
        self.errors.update(kept)
        if not kept:
            self.data = self.data.copy()
            self.data["find"] = ""

    def _named(self, typed: str) -> PartType | None:
        """The one part type that was meant: its whole line of the list, its number or its name."""
        wanted = typed.casefold()
        names = [
            (row, {str(row).casefold(), row.part_number.casefold(), row.name.casefold()})
            for row in self.catalogue.values()
        ]
        found = [row for row, told in names if wanted in told]
        return found[0] if len(found) == 1 else None


def words_in_others(row: Bulletin) -> dict[str, str]:
    """Return what a bulletin says in languages other than English, by the names of the form's fields."""
    return {f"{name}_{text.language}": getattr(text, name) for text in row.texts.all() for name in FOR_OWNERS}


def as_typed(row: Bulletin) -> dict[str, Any]:
    """Return a draft as the form shows it."""
    return {name: getattr(row, name) for name in KEPT} | words_in_others(row) | {
        "serials": ranges_typed((span.first, span.last) for span in row.ranges.all()), "version": row.version,
        "batches": ", ".join(row.batches), "firmware": ", ".join(row.firmware),
    }  # fmt: skip


def filled_in(link: QueryDict) -> tuple[dict[str, Any], list[str]]:
    """Return (what a link fills in, the part types it names): part_type, batch, firmware and serials, each as often as needed."""
    chosen = [pk for pk in link.getlist("part_type") if _is_id(pk)]
    batches, firmware = (", ".join(listed(",".join(link.getlist(name))[:400])) for name in ("batch", "firmware"))
    first = PartType.objects.filter(pk=chosen[0]).first() if chosen else None
    told = first.name if first else ""
    title = link.get("title", "") or (f"{told}, batch {batches}" if told and batches else told)
    return {
        "title": title[:120], "batches": batches, "firmware": firmware, "serials": link.get("serials", "")[:4000],
        "severity": Bulletin.Severity.RECOMMENDED, "minutes": MINUTES, "version": 0,
    }, chosen  # fmt: skip


def _is_id(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 18
