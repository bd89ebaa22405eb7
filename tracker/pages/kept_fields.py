"""Fields of a draft that are kept one by one: each form carries what its page had loaded, and says who was faster."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from django import forms
from django.core.cache import cache
from django.db import DatabaseError
from redis import RedisError

from tracker.actions.card_steps import ChangedMeanwhile
from tracker.pages import fields
from tracker.pages.answers import carry_out

REMEMBERED_S = 3 * 24 * 3600  # how long it is told who wrote last into a field


class KeptForm(fields.Form):
    """A form whose fields are kept one by one. `stored`: name -> what stands there; `section` names them to the script."""

    section = ""

    def __init__(self, stored: Mapping[str, str], *args: Any, **kwargs: Any) -> None:
        kwargs["initial"] = {**stored, **kwargs.get("initial", {})}
        super().__init__(*args, **kwargs)
        self.stored = dict(stored)
        self.clashes: dict[str, dict[str, str]] = {}
        for name in stored:
            self.fields[name].widget.attrs["data-save"] = f"{self.section}:{name}"

    def base_of(self, name: str) -> str:
        """What the page had loaded; after a clash what stands there now, so that the next sending writes over it knowingly."""
        if name in self.clashes or not self.is_bound:
            return self.clashes.get(name, {}).get("theirs", self.stored[name])
        return one_line_end(self.data.get(f"base-{self.add_prefix(name)}", ""))

    def touched(self) -> Iterator[tuple[str, str, str]]:
        """Yield (name, value, base) of the fields that were sent and changed."""
        for name in self.stored:
            key = self.add_prefix(name)
            if key not in self.data:
                continue
            value, base = one_line_end(self.data[key]), self.base_of(name)
            if value != base:
                yield name, value, base


def one_line_end(text: str) -> str:
    """A form sends its line ends as CR LF, a script as LF; the ends are trimmed as they are when kept."""
    return text.replace("\r\n", "\n").strip()


def keep(form: forms.Form, name: str, action: Callable[..., Any], *, card_id: int, by: Any, **values: Any) -> bool:
    """Carry out the keeping of one field; a refusal stands beside it, a clash with what stands there now and whose it is."""
    form.refusal = None
    done = carry_out(form, action, card_id=card_id, by=by, **values)
    if isinstance(form.refusal, ChangedMeanwhile):
        told = {"theirs": form.refusal.facts["theirs"], "by": writer_of(card_id, field_key(form, name), by)}
        form.clashes = {**getattr(form, "clashes", {}), name: told}
    if done is not None:
        remember_writer(card_id, field_key(form, name), by)
    return done is not None


def field_key(form: forms.Form, name: str) -> str:
    """The field's name on the whole card."""
    return f"{getattr(form, 'section', '')}:{name}"


def remember_writer(card_id: int, field: str, by: Any) -> None:
    """Note who wrote into a field last. Lost with the cache: then a clash says 'somebody else'."""
    try:
        cache.set(_key(card_id, field), [by.pk, str(by)], REMEMBERED_S)
    except (DatabaseError, RedisError, OSError):
        return


def writer_of(card_id: int, field: str, reader: Any) -> str:
    """Return who wrote into a field last, as `reader` calls them."""
    try:
        pk, name = cache.get(_key(card_id, field)) or (None, "Somebody else")
    except (DatabaseError, RedisError, OSError):
        return "Somebody else"
    return "You, in another window," if pk == reader.pk else name


def _key(card_id: int, field: str) -> str:
    return f"card-writer:{card_id}:{field}"
