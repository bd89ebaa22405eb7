"""One search field for everything: serials, plates, owners, phone numbers, job numbers.

Beginnings first, exact ones before all, because an index gives the first few at once; what lies inside a text is asked
only while there is room left, and only of three characters or more (indexes: migration 0006).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Prefetch, Q, QuerySet

from services.due_words import say_date
from services.identity import canonical_serial
from services.positions import POSITIONS
from tracker.models import Component, Fitment, JobCard, Owner, Ownership, Trike
from tracker.queries.bulletin_pages import marks_of_components, marks_of_trikes
from tracker.queries.clock import local_date
from tracker.queries.first_hits import beginning_with, some_of
from tracker.queries.search_text import Asked, has_middle, understood

PLACES_TOLD = 3
AT_FIRST = 3  # of each kind in a short list, before any kind fills it


@dataclass(frozen=True)
class Hit:
    """One thing found. `exact`: the text was its very serial, plate, number, phone or name; `mark`: it is stolen.

    bulletin: the most urgent open bulletin on it, in words.
    """

    kind: str  # trike, component, batch, owner, job
    id: int | str
    title: str
    words: str
    url_name: str
    exact: bool = False
    mark: str = ""
    bulletin: str = ""


def find(text: str, limit: int = 20) -> list[Hit]:
    """Return what `text` may mean, exact hits first, then what is stolen; at most `limit` of each kind.

    A component is found wherever it sits or sat, and says so. Names match without accents and case, every word
    anywhere in the name; phone numbers in any notation of the workshop's region, or by their last four digits. At most
    twenty-one queries; fewer where the beginnings fill the list.
    """
    asked = understood(text)
    if asked is None:
        return []
    trikes = _trikes(asked, limit)
    framed = {hit.title for hit in trikes}
    parts = [hit for hit in _components(asked, limit) if hit.title not in framed]
    hits = [*trikes, *parts, *_batches(asked), *_owners(asked, limit), *_jobs(asked, limit)]
    return sorted(hits, key=lambda hit: (not hit.exact, not hit.mark))


def the_one(hits: Iterable[Hit]) -> Hit | None:
    """Return the only exact hit, so that a scan goes straight to the thing; None where there is a choice."""
    exact = [hit for hit in hits if hit.exact]
    return exact[0] if len(exact) == 1 else None


def briefly(hits: Iterable[Hit], at_most: int) -> list[Hit]:
    """Return the first of `hits` for a short list: each kind has its turn, so that no kind crowds out the others."""
    seen: dict[str, int] = {}
    turns = []
    for hit in hits:
        turns.append((not hit.exact, not hit.mark, seen.get(hit.kind, 0) // AT_FIRST, len(turns), hit))
        seen[hit.kind] = seen.get(hit.kind, 0) + 1
    return [hit for *_, hit in sorted(turns)[:at_most]]


def component_by_serial(text: str) -> Component | None:
    """Return the component with this serial, as scanned. Raises BadSerial."""
    return Component.objects.filter(serial=canonical_serial(text)).select_related("part_type").first()


def _ids(rows: QuerySet, fields: Sequence[str], text: str, limit: int) -> list[int]:
    """Return the ids of rows with `text` at the beginning of a field, or while there is room inside one."""
    found: dict[int, None] = {}
    if not text:
        return []
    for field in fields:
        found |= dict.fromkeys(beginning_with(rows, field, text).values_list("pk", flat=True)[:limit])
    if len(found) < limit and has_middle(text):
        inside = Q(*((f"{field}__contains", text) for field in fields), _connector=Q.OR)
        found |= dict.fromkeys(some_of(rows.filter(inside), limit))
    return list(found)[:limit]


def _trikes(asked: Asked, limit: int) -> list[Hit]:
    owners = Prefetch("ownerships", Ownership.objects.filter(until__isnull=True).select_related("owner"), "now_owned")
    rows = Trike.objects.filter(pk__in=_trike_ids(asked, limit)).prefetch_related(owners)
    hits, marks = [], marks_of_trikes([row.pk for row in rows])
    for row in rows:
        told = [f"plate {row.plate}" if row.plate else "", row.model, *(o.owner.name for o in row.now_owned)]
        told.append(_out_of_service(row))
        exact = bool(asked.label) or asked.serial in {row.frame_serial, row.plate}
        mark = _stolen(row)
        hits.append(Hit("trike", row.pk, row.frame_serial, _joined(told), "trike", exact, mark, marks.get(row.pk, "")))
    return _beginnings_first(hits, asked.serial)


def _trike_ids(asked: Asked, limit: int) -> Iterable[int]:
    if asked.label:
        return Trike.objects.filter(label_code=asked.label).values_list("pk", flat=True)
    found = dict.fromkeys(_ids(Trike.objects.all(), ("frame_serial", "plate"), asked.serial, limit))
    if len(found) < limit and has_middle(asked.text):
        found |= dict.fromkeys(some_of(Trike.objects.filter(model__icontains=asked.text), limit))
    return list(found)[:limit]


def _out_of_service(trike: Trike) -> str:
    if trike.state == Trike.State.DELIVERED:
        return ""
    return f"retired on {say_date(trike.retired_on)}" if trike.retired_on else trike.get_state_display()


def _stolen(trike: Trike) -> str:
    return f"STOLEN since {say_date(trike.stolen_on)}" if trike.stolen_on else ""


def _components(asked: Asked, limit: int) -> list[Hit]:
    places = Prefetch("fitments", Fitment.objects.select_related("trike").order_by("-fitted_at", "-pk"))
    ids = _ids(Component.objects.all(), ("serial",), asked.serial, limit)
    rows = Component.objects.filter(pk__in=ids).select_related("part_type").prefetch_related(places)
    marks = marks_of_components([row.pk for row in rows])
    hits = [
        Hit(
            "component",
            row.pk,
            str(row),
            _joined([row.part_type.name, _whereabouts(row)]),
            "component",
            row.serial == asked.serial,
            _on_a_stolen_trike(row),
            marks.get(row.pk, ""),
        )
        for row in rows
    ]
    return _beginnings_first(hits, asked.serial)


def _whereabouts(component: Component) -> str:
    """Where a component is and where it was last: 'at chain of F000012; was at chain of F000007 until 3 Mar 2026'."""
    places = component.fitments.all()
    told = []
    for fitment in places[:PLACES_TOLD]:
        place = f"{POSITIONS[fitment.position].title} of {fitment.trike}"
        if fitment.removed_at is None:
            told.append(f"at {place}")
        else:
            told.append(f"was at {place} until {say_date(local_date(fitment.removed_at))}")
    if len(places) > PLACES_TOLD:
        told.append("and elsewhere before")
    if not told or component.state != Component.State.FITTED:
        told.insert(0, component.get_state_display())
    return "; ".join(told)


def _on_a_stolen_trike(component: Component) -> str:
    """A part that somebody brings in may be all there is of the trike that is looked for."""
    for fitment in component.fitments.all():
        if fitment.removed_at is None and fitment.trike.stolen_on:
            return f"on {fitment.trike}, {_stolen(fitment.trike)}"
    return ""


def _batches(asked: Asked) -> list[Hit]:
    in_batch = Component.objects.filter(batch__iexact=asked.serial).count() if asked.serial else 0
    if not in_batch:
        return []
    words = f"{in_batch} component{'' if in_batch == 1 else 's'}"
    return [Hit("batch", asked.serial, f"Batch {asked.serial}", words, "components", exact=True)]


def _owners(asked: Asked, limit: int) -> list[Hit]:
    ridden = Prefetch("ownerships", Ownership.objects.filter(until__isnull=True).select_related("trike"), "now_owned")
    rows = Owner.objects.filter(pk__in=_owner_ids(asked, limit)).prefetch_related(ridden)
    hits = []
    for row in rows:
        trikes = [o.trike for o in row.now_owned]
        told = [*(f"trike {trike}" for trike in trikes), row.phone, row.email]
        mark = "; ".join(f"{trike} {_stolen(trike)}" for trike in trikes if trike.stolen_on)
        exact = row.search_name == asked.name or (bool(asked.number) and row.phone_e164 == asked.number)
        hits.append(Hit("owner", row.pk, row.name, _joined(told), "owner", exact, mark))
    return hits


def _owner_ids(asked: Asked, limit: int) -> list[int]:
    if not asked.name:
        return []
    found = dict.fromkeys(
        beginning_with(Owner.objects.all(), "search_name", asked.name).values_list("pk", flat=True)[:limit]
    )
    if asked.endings:
        ends = Q(*(("phone_e164__endswith", end) for end in asked.endings), _connector=Q.OR)
        numbered = Q(phone_e164=asked.number) | ends if asked.number else ends
        found |= dict.fromkeys(some_of(Owner.objects.filter(numbered), limit))
    words = asked.name.split()
    if len(found) < limit and (len(words) > 1 or has_middle(words[0])):
        found |= dict.fromkeys(some_of(Owner.objects.filter(*(_in_a_name(word) for word in words)), limit))
    return list(found)[:limit]


def _in_a_name(word: str) -> Q:
    """A short word begins a word of the name; a longer one stands anywhere in it."""
    if has_middle(word):
        return Q(search_name__contains=word)
    return Q(search_name__startswith=word) | Q(search_name__contains=f" {word}")


def _jobs(asked: Asked, limit: int) -> list[Hit]:
    ids = _ids(JobCard.objects.all(), ("number",), asked.serial, limit)
    hits = []
    for row in JobCard.objects.filter(pk__in=ids).select_related("trike"):
        words = f"trike {row.trike}, {row.get_state_display()}"
        hits.append(Hit("job", row.pk, row.number, words, "job", row.number == asked.serial, _stolen(row.trike)))
    return _beginnings_first(hits, asked.serial)


def _beginnings_first(hits: list[Hit], text: str) -> list[Hit]:
    return sorted(hits, key=lambda hit: (not hit.title.startswith(text), hit.title))


def _joined(words: Iterable[str]) -> str:
    return ", ".join(word for word in words if word)
