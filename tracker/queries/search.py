"""One search field for everything: serials, plates, owners, phone numbers, job numbers."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

import phonenumbers
from django.conf import settings
from django.db.models import Prefetch, Q

from services.errors import Refusal
from services.identity import canonical_serial, fold_name
from services.positions import POSITIONS
from tracker.models import Component, Fitment, JobCard, Owner, Ownership, Trike
from tracker.queries.clock import local_date

SHORTEST = 2
LONGEST = 120
PHONE_DIGITS = 6


@dataclass(frozen=True)
class Hit:
    """One thing found. `exact`: the text was its very serial, plate, number, phone or name."""

    kind: str  # trike, component, batch, owner, job
    id: int | str
    title: str
    words: str
    url_name: str
    exact: bool = False


def find(text: str, limit: int = 20) -> list[Hit]:
    """Return what `text` may mean, exact hits first, at most `limit` of each kind. At most nine queries.

    A component is found wherever it sits or sat, and says so. Names match without accents and case, every word
    anywhere in the name; phone numbers in any notation of the workshop's region.
    """
    text = " ".join(text.split())[:LONGEST]
    if len(text) < SHORTEST or not text.isprintable():
        return []
    serial = _serial_of(text)
    trikes = _trikes(serial, limit) if serial else []
    framed = {hit.title for hit in trikes}
    parts = [hit for hit in _components(serial, limit) if hit.title not in framed] if serial else []
    hits = [*trikes, *parts, *_owners(text, limit), *(_jobs(serial, limit) if serial else [])]
    return sorted(hits, key=lambda hit: not hit.exact)


def the_one(hits: Iterable[Hit]) -> Hit | None:
    """Return the only exact hit, so that a scan goes straight to the thing; None where there is a choice."""
    exact = [hit for hit in hits if hit.exact]
    return exact[0] if len(exact) == 1 else None


def component_by_serial(text: str) -> Component | None:
    """Return the component with this serial, as scanned. Raises BadSerial."""
    return Component.objects.filter(serial=canonical_serial(text)).select_related("part_type").first()


def _serial_of(text: str) -> str | None:
    try:
        return canonical_serial(text)
    except Refusal:
        return None


def _trikes(serial: str, limit: int) -> list[Hit]:
    owners = Prefetch("ownerships", Ownership.objects.filter(until__isnull=True).select_related("owner"), "now_owned")
    rows = Trike.objects.filter(Q(frame_serial__contains=serial) | Q(plate__contains=serial)).prefetch_related(owners)
    hits = []
    for row in rows[:limit]:
        told = [f"plate {row.plate}" if row.plate else "", row.model, *(o.owner.name for o in row.now_owned)]
        if row.state != Trike.State.DELIVERED:
            told.append(row.get_state_display())
        exact = serial in {row.frame_serial, row.plate}
        hits.append(Hit("trike", row.pk, row.frame_serial, _joined(told), "trike", exact))
    return hits


def _components(serial: str, limit: int) -> list[Hit]:
    places = Prefetch("fitments", Fitment.objects.select_related("trike").order_by("-fitted_at", "-pk"))
    matching = Q(serial__contains=serial) | Q(serial__isnull=True, batch__iexact=serial)
    rows = (
        Component.objects.filter(matching).select_related("part_type").prefetch_related(places).order_by("serial", "pk")
    )
    hits = [
        Hit(
            "component",
            row.pk,
            str(row),
            _joined([row.part_type.name, _whereabouts(row)]),
            "component",
            row.serial == serial,
        )
        for row in rows[:limit]
    ]
    in_batch = Component.objects.filter(batch__iexact=serial).count()
    if in_batch:
        hits.append(Hit("batch", serial, f"Batch {serial}", f"{in_batch} components", "components", not hits))
    return hits


def _whereabouts(component: Component) -> str:
    """Where a component is and where it was last: 'at Chain of F000012; on F000007 until 3 Mar 2026'."""
    told = []
    for fitment in component.fitments.all()[:3]:
        place = f"{POSITIONS[fitment.position].title} of {fitment.trike}"
        if fitment.removed_at is None:
            told.append(f"at {place}")
        else:
            day = local_date(fitment.removed_at)
            told.append(f"was at {place} until {day.day} {day:%b %Y}")
    if not told or component.state != Component.State.FITTED:
        told.insert(0, component.get_state_display())
    return "; ".join(told)


def _owners(text: str, limit: int) -> list[Hit]:
    folded = fold_name(text)
    number, digits = _phone_of(text)
    named = Q()
    for word in folded.split():
        named &= Q(search_name__contains=word)
    matching = named if folded else Q(pk__in=[])
    if number:
        matching |= Q(phone_e164=number)
    if digits:
        matching |= Q(phone_e164__endswith=digits)
    ridden = Prefetch("ownerships", Ownership.objects.filter(until__isnull=True).select_related("trike"), "now_owned")
    hits = []
    for row in Owner.objects.filter(matching).prefetch_related(ridden)[:limit]:
        told = [*(f"trike {owned.trike}" for owned in row.now_owned), row.phone, row.email]
        exact = row.search_name == folded or (bool(number) and row.phone_e164 == number)
        hits.append(Hit("owner", row.pk, row.name, _joined(told), "owner", exact))
    return hits


def _phone_of(text: str) -> tuple[str, str]:
    """Return (international form or '', last digits or '') of a text that may be a phone number."""
    digits = re.sub(r"\D", "", text)
    if len(digits) < PHONE_DIGITS or re.search(r"[^\d\s+()./\-]", text):
        return "", ""
    try:
        number = phonenumbers.parse(text, settings.WORKSHOP_PHONE_REGION)
    except phonenumbers.NumberParseException:
        return "", digits.lstrip("0")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164), digits.lstrip("0")


def _jobs(serial: str, limit: int) -> list[Hit]:
    rows = JobCard.objects.filter(number__contains=serial).select_related("trike")
    return [
        Hit("job", row.pk, row.number, f"trike {row.trike}, {row.get_state_display()}", "job", row.number == serial)
        for row in rows[:limit]
    ]


def _joined(words: Iterable[str]) -> str:
    return ", ".join(word for word in words if word)
