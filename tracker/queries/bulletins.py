"""Which components a bulletin touches, asked of an index; where they are; how far the work has come.

`matching` and services.bulletins.match say the same of every component: a test holds them together on both databases.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Case, Count, Prefetch, Q, QuerySet, TextField, Value, When
from django.db.models.functions import TruncDate

from services.bulletins import STATES, Piece, Progress, Scope, check_scope, fold_mark, order_key
from services.identity import canonical_serial
from tracker.models import Bulletin, BulletinNotice, BulletinPart, BulletinStep, Component, Fitment, PartType
from tracker.queries.bulletin_parts import asking_parts, open_parts, task_code, terms_of
from tracker.queries.clock import workshop_zone
from tracker.queries.lists import present_owner

__all__ = [
    "Found", "Preview", "asking_parts", "calling_list", "count_matches", "every_part", "listed_bulletins", "matching",
    "of_component", "of_trike", "open_parts", "parts_of", "piece_of", "preview", "progress", "progress_over_time",
    "scope_of", "task_code", "terms_of", "typed_scope",
]  # fmt: skip

AFFECTED, CANNOT_EXCLUDE = BulletinPart.Certainty.AFFECTED, BulletinPart.Certainty.CANNOT_EXCLUDE


@dataclass(frozen=True)
class Found:
    """How many components a scope touches, by what is known of them and by where they are; owners of the trikes they sit on.

    owners_by_mail: with an address that works; owners_by_phone: without one, but with a number.
    """

    total: int
    affected: int
    cannot_exclude: int
    fitted: int
    in_stock: int
    elsewhere: int  # quarantined, returned or scrapped
    trikes: int
    owners: int
    owners_by_mail: int
    owners_by_phone: int

    @property
    def contactable(self) -> int:
        """Owners who can be told directly."""
        return self.owners_by_mail + self.owners_by_phone


@dataclass(frozen=True)
class Preview:
    """What a scope would touch: counts, and the first components with where they sit now and sat before."""

    found: Found
    components: list[Component]


# The scope


def scope_of(bulletin: Bulletin) -> Scope:
    """Return what a bulletin names; part types by part number, batches and firmware folded."""
    return Scope(
        part_types=frozenset(row.part_number for row in bulletin.part_types.all()),
        serials=tuple((row.first, row.last) for row in bulletin.ranges.all()),
        batches=frozenset(bulletin.batches),
        made_from=bulletin.made_from,
        made_until=bulletin.made_until,
        firmware=frozenset(bulletin.firmware),
    )


def typed_scope(values: Mapping) -> Scope:
    """Return the scope of a form's or a request's values, as write_bulletin would keep it.

    part_types: ids; serials: (first, last) pairs; batches, firmware: texts; made_from, made_until. Raises BadScope, BadSerial.
    """
    numbers = PartType.objects.filter(pk__in=list(values.get("part_types") or ())).values_list("part_number", flat=True)
    scope = Scope(
        part_types=frozenset(numbers),
        serials=tuple(dict.fromkeys(_canonical(first, last) for first, last in values.get("serials") or ())),
        batches=frozenset(filter(None, map(fold_mark, values.get("batches") or ()))),
        made_from=values.get("made_from"),
        made_until=values.get("made_until"),
        firmware=frozenset(filter(None, map(fold_mark, values.get("firmware") or ()))),
    )
    check_scope(scope)
    return scope


def _canonical(first: str, last: str) -> tuple[str, str]:
    return (canonical_serial(first) if first else "", canonical_serial(last) if last else "")


def piece_of(component: Component) -> Piece:
    """Return a component as services.bulletins.match takes it."""
    return Piece(
        component.part_type.part_number, component.serial or "", fold_mark(component.batch), component.made_on,
        fold_mark(component.firmware),
    )  # fmt: skip


# Matching


def matching(scope: Scope) -> QuerySet[Component]:
    """Return the components a scope touches, each with `certainty`; one query, answered from the indexes of the part type.

    They are matched wherever they are: on a trike, in stock, or gone. What is not known cannot be excluded.
    """
    types = PartType.objects.filter(part_number__in=scope.part_types).order_by("pk").values_list("pk", flat=True)
    asked, known = Q(part_type_id__in=list(types)), Q()
    for column, named in _named(scope):
        asked &= named | Q(**{f"{column}__isnull": True})
        known &= Q(**{f"{column}__isnull": False})
    certainty = Case(When(known, then=Value(AFFECTED)), default=Value(CANNOT_EXCLUDE)) if known else Value(AFFECTED)
    return Component.objects.filter(asked).annotate(certainty=_as_text(certainty)).order_by("pk")


def _as_text(expression):
    expression.output_field = TextField()
    return expression


def _named(scope: Scope) -> list[tuple[str, Q]]:
    """(column, condition) for everything a scope names besides part types."""
    named = []
    if scope.serials:
        ranges = Q()
        for first, last in scope.serials:
            ranges |= Q(serial_key__range=(order_key(first), order_key(last)))
        named.append(("serial_key", ranges))
    for column, marks in (("batch_key", scope.batches), ("firmware_key", scope.firmware)):
        if marks:
            named.append((column, Q(**{f"{column}__in": sorted(marks)})))
    if scope.made_from or scope.made_until:
        days = (("made_on__gte", scope.made_from), ("made_on__lte", scope.made_until))
        named.append(("made_on", Q(**{name: day for name, day in days if day})))
    return named


def count_matches(scope: Scope) -> Found:
    """Return how many components a scope touches, and how many owners. Three queries, however many match."""
    rows = matching(scope).order_by()
    state = Component.State
    counts = rows.aggregate(
        total=Count("pk"), affected=Count("pk", filter=Q(certainty=AFFECTED)),
        fitted=Count("pk", filter=Q(state=state.FITTED)), in_stock=Count("pk", filter=Q(state=state.IN_STOCK)),
    )  # fmt: skip
    elsewhere = counts["total"] - counts["fitted"] - counts["in_stock"]
    return Found(cannot_exclude=counts["total"] - counts["affected"], elsewhere=elsewhere, **counts, **_owners(rows))


def _owners(rows: QuerySet[Component]) -> dict[str, int]:
    """Trikes and owners that these components are with now; owners with a mail address that works, others with a phone.

    Joined from the components on: asked for the owners of trikes among these, PostgreSQL walks all owners.
    """
    stay, owned = "fitments", "fitments__trike__ownerships"
    owner = f"{owned}__owner"
    here = rows.filter(
        **{f"{stay}__isnull": False, f"{stay}__removed_at__isnull": True},
        **{f"{owned}__isnull": False, f"{owned}__until__isnull": True},
    )
    by_mail = ~Q(**{f"{owner}__email": ""}) & Q(**{f"{owner}__email_dead_at__isnull": True})
    return here.aggregate(
        trikes=Count(f"{stay}__trike", distinct=True), owners=Count(owner, distinct=True),
        owners_by_mail=Count(owner, filter=by_mail, distinct=True),
        owners_by_phone=Count(owner, filter=~by_mail & ~Q(**{f"{owner}__phone": ""}), distinct=True),
    )  # fmt: skip


def preview(scope: Scope, limit: int = 50) -> Preview:
    """Return what a scope touches before it is released: counts, and the first components with their places."""
    rows = with_places(matching(scope).select_related("part_type"), "fitments")
    return Preview(count_matches(scope), list(rows[:limit]))


def with_places(rows: QuerySet, fitments: str) -> QuerySet:
    """Return the rows with `stays` of each component: where it sits and sat, latest first, with the trike's `now_owned`."""
    stays = Fitment.objects.select_related("trike").prefetch_related(present_owner("trike__ownerships"))
    return rows.prefetch_related(Prefetch(fitments, queryset=stays.order_by("-fitted_at", "-pk"), to_attr="stays"))


# Under a bulletin


def listed_bulletins() -> QuerySet[Bulletin]:
    """Return all bulletins with their part types and ranges, the open ones first."""
    rank = Case(When(state="released", then=0), When(state="draft", then=1), default=2)
    rows = Bulletin.objects.select_related("written_by", "released_by", "ended_by")
    return (
        rows.prefetch_related("part_types", "ranges", "texts")
        .annotate(rank=rank)
        .order_by("rank", "-written_at", "-pk")
    )


def parts_of(bulletin_id: int) -> QuerySet[BulletinPart]:
    """Return the components under a bulletin with their places and owners: a page of them costs six queries."""
    rows = BulletinPart.objects.filter(bulletin_id=bulletin_id)
    return with_places(
        rows.select_related("bulletin", "component__part_type", "by", "appointment"), "component__fitments"
    )


def every_part() -> QuerySet[BulletinPart]:
    """Return all components under bulletins with their places, the latest first."""
    rows = BulletinPart.objects.select_related("bulletin", "component__part_type").order_by("-pk")
    return with_places(rows, "component__fitments")


def of_component(component_id: int) -> QuerySet[BulletinPart]:
    """Return all bulletins that ever touched a component, newest first."""
    rows = BulletinPart.objects.filter(component_id=component_id).exclude(bulletin__state=Bulletin.State.WITHDRAWN)
    return rows.select_related("bulletin").order_by("-joined_at", "-pk")


def of_trike(trike_id: int, *, only_open: bool = True) -> QuerySet[BulletinPart]:
    """Return what bulletins ask of the components that sit on a trike now; stop riding and hazards first."""
    rows = open_parts() if only_open else BulletinPart.objects.exclude(bulletin__state=Bulletin.State.WITHDRAWN)
    here = Fitment.objects.current().filter(trike_id=trike_id).values("component_id")
    stop = Case(When(bulletin__severity="stop", then=0), When(bulletin__is_hazard=True, then=1), default=2)
    rows = rows.filter(component_id__in=here).select_related("bulletin", "component__part_type")
    return rows.annotate(urgency=stop).order_by("urgency", "bulletin__released_at", "pk")


def progress(bulletin_ids: Iterable[int]) -> dict[int, Progress]:
    """Return bulletin id -> how far it has come. Three queries for all of them."""
    ids = list(bulletin_ids)
    states: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(STATES, 0))
    rows = BulletinPart.objects.filter(bulletin_id__in=ids).order_by()
    for pk, state, count in (
        rows.values("bulletin_id", "state").annotate(n=Count("pk")).values_list("bulletin_id", "state", "n")
    ):
        states[pk][state] = count
    owners = _owners_by_bulletin(ids)
    return {pk: Progress(dict(states[pk]), *owners.get(pk, (0, 0))) for pk in ids}


def _owners_by_bulletin(ids: list[int]) -> dict[int, tuple[int, int]]:
    """Bulletin id -> (owners who can be told directly, owners), of the trikes that its components sit on now."""
    reach: dict[int, dict[int, bool]] = defaultdict(dict)
    here = Fitment.objects.current().filter(component__bulletin_parts__bulletin_id__in=ids)
    rows = here.filter(trike__ownerships__until__isnull=True, trike__ownerships__owner__isnull=False)
    owner = "trike__ownerships__owner"
    for pk, owner_id, email, dead, phone in (
        rows.order_by()
        .values_list(
            "component__bulletin_parts__bulletin_id", f"{owner}_id", f"{owner}__email", f"{owner}__email_dead_at",
            f"{owner}__phone",
        )
        .distinct()
    ):  # fmt: skip
        reach[pk][owner_id] = bool((email and dead is None) or phone)
    return {pk: (sum(some.values()), len(some)) for pk, some in reach.items()}


def progress_over_time(bulletin_id: int) -> list[tuple[date, dict[str, int]]]:
    """Return (day, how many components stood in each state at its end) for each day on which one moved."""
    day = TruncDate("at", tzinfo=workshop_zone())
    rows = BulletinStep.objects.filter(bulletin_id=bulletin_id).annotate(on=day).order_by("on")
    moved: dict[date, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for on, before, after, count in rows.values("on", "before", "after").annotate(n=Count("pk")).values_list(
        "on", "before", "after", "n"
    ):  # fmt: skip
        for state, change in ((before, -count), (after, count)):
            if state:
                moved[on][state] += change
    standing = dict.fromkeys(STATES, 0)
    told = []
    for on, changes in sorted(moved.items()):
        standing = {state: standing[state] + changes.get(state, 0) for state in STATES}
        told.append((on, standing))
    return told


def calling_list(bulletin_id: int) -> QuerySet[BulletinNotice]:
    """Return the notices whose owners mail did not reach and nobody has told yet: they are to be rung."""
    rows = BulletinNotice.objects.filter(bulletin_id=bulletin_id, told_at__isnull=True, read_at__isnull=True)
    rows = rows.filter(owner__erased_at__isnull=True)  # of them no number is left to ring
    unreached = Q(message__state="failed") | Q(message__bounced_at__isnull=False) | Q(owner__email="")
    unreached |= Q(owner__email_dead_at__isnull=False) & ~Q(message__state="sent")
    still = Fitment.objects.current().filter(
        component__bulletin_parts__in=open_parts().filter(bulletin_id=bulletin_id).values("pk")
    )
    rows = rows.filter(unreached, trike__in=still.values("trike"))
    return rows.select_related("owner", "trike", "message").order_by("owner__search_name", "pk")
