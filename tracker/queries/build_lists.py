"""Build lists, and how far a trike in build has come down its model's list."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Prefetch, Q, QuerySet

from services.errors import Refusal
from services.identity import canonical_serial
from services.positions import POSITIONS
from tracker.models import BuildList, BuildListLine, Fitment, PartType, Trike


def build_lists() -> QuerySet[BuildList]:
    """Return the lists with their lines, and how many lines are required."""
    lines = Prefetch("lines", BuildListLine.objects.select_related("part_type").order_by("pk"))
    required = Count("lines", Q(lines__required=True))
    return BuildList.objects.annotate(required=required).prefetch_related(lines).order_by("model", "pk")


def list_of_model(model: str) -> BuildList | None:
    """Return the build list of a model, however its name is written in upper and lower case."""
    name = " ".join(model.split())
    return build_lists().filter(model__iexact=name).first() if name else None


def models_without_a_list() -> list[str]:
    """Return the models of delivered trikes that have no build list yet."""
    have = {name.casefold() for name in BuildList.objects.values_list("model", flat=True)}
    names = Trike.objects.exclude(state=Trike.State.IN_BUILD).exclude(model="").values_list("model", flat=True)
    return sorted({name for name in names.distinct().order_by("model") if name.casefold() not in have})


def delivered_of_model(model: str) -> list[int]:
    """Return the ids of the delivered trikes of a model."""
    rows = Trike.objects.filter(model__iexact=model, state=Trike.State.DELIVERED)
    return list(rows.order_by("pk").values_list("pk", flat=True))


def delivered_trike(text: str) -> Trike | None:
    """Return the delivered trike with this frame serial or plate, as scanned."""
    try:
        serial = canonical_serial(text)
    except Refusal:
        return None
    here = Q(frame_serial=serial) | Q(plate=serial)
    return Trike.objects.filter(here).exclude(state=Trike.State.IN_BUILD).order_by("pk").first()


@dataclass(frozen=True)
class Place:
    """One position of a trike in build."""

    code: str
    title: str
    required: bool
    on_list: bool
    usual: PartType | None  # None: any type that goes there
    fitment: Fitment | None

    @property
    def missing(self) -> bool:
        """Whether the list demands a part that is not there."""
        return self.required and self.fitment is None

    @property
    def differs(self) -> bool:
        """Whether another part type sits there than the list's."""
        return bool(self.usual and self.fitment and self.fitment.component.part_type_id != self.usual.pk)


@dataclass(frozen=True)
class Progress:
    """A trike's positions in the order in which they are scanned: required, then the rest of the list, then others."""

    build_list: BuildList | None
    places: tuple[Place, ...]

    @property
    def missing(self) -> tuple[Place, ...]:
        """Required positions that are empty."""
        return tuple(place for place in self.places if place.missing)

    @property
    def listed(self) -> tuple[Place, ...]:
        """Positions of the list, and others that hold a part."""
        return tuple(place for place in self.places if place.on_list or place.fitment)

    @property
    def others(self) -> tuple[Place, ...]:
        """Positions that are neither on the list nor taken."""
        return tuple(place for place in self.places if not place.on_list and place.fitment is None)

    @property
    def free(self) -> tuple[Place, ...]:
        """Positions that hold nothing yet."""
        return tuple(place for place in self.places if place.fitment is None)

    @property
    def fitted(self) -> int:
        """How many positions hold a part."""
        return len(self.places) - len(self.free)

    @property
    def demanded(self) -> int:
        """How many positions the list requires."""
        return sum(place.required for place in self.places)

    def next_after(self, code: str = "") -> str:
        """Return the empty position to scan after `code`: the next one demanded, else the next on the list."""
        codes = [place.code for place in self.places]
        passed = codes.index(code) + 1 if code in codes else 0
        around = [*self.places[passed:], *self.places[:passed]]
        ahead = [place for place in around if place.fitment is None and place.code != code]
        wanted = [place for place in ahead if place.missing] or [place for place in ahead if place.on_list]
        if not self.build_list:
            wanted = [place for place in self.places[passed:] if place.fitment is None]
        return wanted[0].code if wanted else ""


def progress(trike: Trike) -> Progress:
    """Return how far a trike has come down its model's list. Three queries."""
    found = list_of_model(trike.model)
    lines = {line.position: line for line in found.lines.all()} if found else {}
    fitted = Fitment.objects.current().filter(trike=trike).select_related("component__part_type")
    there = {fitment.position: fitment for fitment in fitted}
    places = [_place(code, lines.get(code), there.get(code)) for code in POSITIONS]
    return Progress(found, tuple(sorted(places, key=lambda place: (not place.required, not place.on_list))))


def _place(code: str, line: BuildListLine | None, fitment: Fitment | None) -> Place:
    usual = line.part_type if line else None
    return Place(code, POSITIONS[code].title, bool(line and line.required), line is not None, usual, fitment)


def missing_positions(trike: Trike) -> list[str]:
    """Return the titles of the required positions that hold nothing."""
    return [place.title for place in progress(trike).missing]


def types_for(kinds: Iterable[str]) -> QuerySet[PartType]:
    """Return the catalogue entries of these kinds of part."""
    return PartType.objects.filter(kind__in=list(kinds)).order_by("kind", "name", "pk")
