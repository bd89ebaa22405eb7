"""What the bulletin pages show beside tracker/queries/bulletins.py: rows with their places, lists apart, counts for Today."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from services.bulletin_words import STATE_SHAPES, STATE_WORDS
from services.bulletins import DONE, MOVES, STATES, Progress
from services.language import ENGLISH, LANGUAGES
from tracker.models import Bulletin, BulletinNotice, BulletinPart, Fitment, Owner, Ownership, Trike
from tracker.queries import bulletins

CAN_BE_MAILED = ~Q(email="") & Q(email_dead_at__isnull=True)
OPEN = tuple(state for state in STATES if state not in DONE)


@dataclass(frozen=True)
class Listed:
    """A bulletin of the list, with how far it has come."""

    row: Bulletin
    progress: Progress

    @property
    def done(self) -> int:
        """How many components need nothing more."""
        return done_of(self.progress)

    @property
    def open(self) -> int:
        """How many components still wait."""
        return self.progress.affected - self.done


@dataclass(frozen=True)
class PartRow:
    """One component under a bulletin: where it sits now and sat before, latest first; who rides it."""

    part: BulletinPart
    here: Fitment | None
    before: tuple[Fitment, ...]
    owner: Owner | None
    moves: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Its state as the desk says it."""
        return STATE_WORDS[self.part.state]

    @property
    def shape(self) -> str:
        """The shape beside the words."""
        return STATE_SHAPES[self.part.state]

    @property
    def mailed(self) -> bool:
        """Whether a letter reaches its owner."""
        return self.owner is not None and bool(self.owner.email) and self.owner.email_dead_at is None


def done_of(progress: Progress) -> int:
    """Return how many components need nothing more."""
    return sum(progress.states.get(state, 0) for state in DONE)


def listed(rows: Iterable[Bulletin]) -> list[Listed]:
    """Return bulletins with their progress, in a fixed number of queries."""
    rows = list(rows)
    told = bulletins.progress(row.pk for row in rows)
    return [Listed(row, told[row.pk]) for row in rows]


def whole(bulletin_id: int) -> Bulletin | None:
    """Return one bulletin with what it names and who wrote, released and ended it, or None."""
    return bulletins.listed_bulletins().filter(pk=bulletin_id).first()


def parts_in(bulletin_id: int, *, state: str = "", fitted: bool | None = None) -> QuerySet[BulletinPart]:
    """Return the components under a bulletin, what waits first. fitted: only those on a trike now, or only the others."""
    rows = bulletins.parts_of(bulletin_id).annotate(sits=Exists(_sitting()))
    if state:
        rows = rows.filter(state=state)
    if fitted is not None:
        rows = rows.filter(sits=fitted)
    return rows.annotate(waits=Q(state__in=OPEN)).order_by("-waits", "component__serial_key", "pk")


def to_be_called(bulletin_id: int) -> QuerySet[BulletinPart]:
    """Return what waits on a trike whose owner no letter reaches: no address, a dead one, one that came back, or no owner."""
    mailed = Ownership.objects.filter(
        until__isnull=True, owner__in=Owner.objects.filter(CAN_BE_MAILED), trike__fitments__removed_at__isnull=True,
        trike__fitments__component=OuterRef("component"),
    )  # fmt: skip
    return parts_in(bulletin_id, fitted=True).filter(~Exists(mailed) | Q(state="unreachable"), state__in=OPEN)


def _sitting() -> QuerySet[Fitment]:
    return Fitment.objects.current().filter(component=OuterRef("component"))


def told(parts: Iterable[BulletinPart]) -> list[PartRow]:
    """Return rows of `parts_in` ready to be read."""
    return [_told(part) for part in parts]


def _told(part: BulletinPart) -> PartRow:
    stays = part.component.stays
    here = next((stay for stay in stays if stay.removed_at is None), None)
    before = tuple(stay for stay in stays if stay.removed_at is not None)
    owner = next((owned.owner for owned in here.trike.now_owned), None) if here else None
    return PartRow(part, here, before, owner, tuple(state for state in STATES if state in MOVES[part.state]))


def readers_left_out(row: Bulletin) -> list[tuple[str, int]]:
    """Return (language, how many) of the owners who would read a bulletin's letter in a language nobody wrote it in."""
    if not row.is_hazard:
        return []
    told = {ENGLISH, *(text.language for text in row.texts.all())}
    parts = bulletins.matching(bulletins.scope_of(row)).order_by().values("pk")
    trikes = Fitment.objects.current().filter(component__in=parts).order_by().values("trike_id")
    owners = Owner.objects.filter(ownerships__until__isnull=True, ownerships__trike__in=trikes).order_by()
    counted = dict(owners.values("language").annotate(n=Count("pk", distinct=True)).values_list("language", "n"))
    return [(name, counted[code]) for code, name in LANGUAGES.items() if code in counted and code not in told]


def course_of(bulletin_id: int) -> list[tuple[date, int, int]]:
    """Return (day, components under it, of them done) at the end of each day on which one moved. One query."""
    return [
        (day, sum(standing.values()), sum(standing[state] for state in DONE))
        for day, standing in bulletins.progress_over_time(bulletin_id)
    ]


def notices_of(bulletin_id: int) -> dict[str, int]:
    """Return how many letters were written, sent and came back; how many owners read theirs or were told otherwise."""
    return BulletinNotice.objects.filter(bulletin_id=bulletin_id).aggregate(
        written=Count("pk"), sent=Count("pk", Q(message__state="sent")),
        back=Count("pk", Q(message__bounced_at__isnull=False)), failed=Count("pk", Q(message__state="failed")),
        read=Count("pk", Q(read_at__isnull=False)), told=Count("pk", Q(told_at__isnull=False)),
    )  # fmt: skip


def notice_for(part: BulletinPart) -> BulletinNotice | None:
    """Return the notice to the present owner of the trike a component sits on that nobody is known to have got yet, or None."""
    here = Fitment.objects.current().filter(component_id=part.component_id).values("trike_id")
    owners = Ownership.objects.filter(trike_id__in=here, until__isnull=True).values("owner_id")
    rows = BulletinNotice.objects.filter(bulletin_id=part.bulletin_id, trike_id__in=here, owner_id__in=owners)
    return rows.filter(told_at__isnull=True, read_at__isnull=True).first()


def places_on(trike_id: int) -> dict[int, str]:
    """Return component -> its position in words, of what sits on a trike now. One query."""
    rows = Fitment.objects.current().filter(trike_id=trike_id)
    return {row.component_id: row.get_position_display() for row in rows}


def open_numbers(trike_id: int) -> list[Bulletin]:
    """Return the bulletins that are open on a trike, each once, the most urgent first; not those for information only."""
    parts = [part for part in bulletins.of_trike(trike_id) if part.bulletin.severity != Bulletin.Severity.INFORMATION]
    return list({part.bulletin_id: part.bulletin for part in parts}.values())


def marks_of_trikes(trike_ids: Iterable[int]) -> dict[int, str]:
    """Return trike -> its most urgent open bulletin in words. One query."""
    rows = Fitment.objects.current().filter(trike_id__in=list(trike_ids))
    return _marks("trike_id", "component__bulletin_parts", rows)


def marks_of_components(component_ids: Iterable[int]) -> dict[int, str]:
    """Return component -> its most urgent open bulletin in words. One query."""
    return _marks("component_id", "", BulletinPart.objects.filter(component_id__in=list(component_ids)))


def _marks(key: str, path: str, rows: QuerySet) -> dict[int, str]:
    head = f"{path}__" if path else ""
    under = {f"{head}bulletin__state": Bulletin.State.RELEASED, f"{head}state__in": OPEN}
    names = [key, *(f"{head}bulletin__{name}" for name in ("number", "severity", "is_hazard"))]
    marks: dict[int, tuple[int, str]] = {}
    for pk, number, severity, is_hazard in rows.filter(**under).order_by().values_list(*names).distinct():
        words = f"bulletin {number}: {'stop riding' if severity == 'stop' else 'safety' if is_hazard else 'open'}"
        rank = 2 if severity == "stop" else int(is_hazard)
        marks[pk] = max(marks.get(pk, (-1, "")), (rank, words))
    return {pk: words for pk, (_, words) in marks.items()}


def waiting_for_safety() -> tuple[int, int]:
    """Return (components, trikes) that wait under a released bulletin about a hazard. One query."""
    parts = BulletinPart.objects.filter(
        bulletin__state=Bulletin.State.RELEASED, bulletin__is_hazard=True, state__in=OPEN,
        component__fitments__removed_at__isnull=True, component__fitments__trike__state=Trike.State.DELIVERED,
    )  # fmt: skip
    counted = parts.aggregate(
        parts=Count("pk", distinct=True), trikes=Count("component__fitments__trike", distinct=True)
    )
    return counted["parts"], counted["trikes"]
