"""What an owner is told: the due lines of a trike in everyday words, in the owner's units, on the owner's calendar."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from services.kinds import all_kinds
from services.kinds import task as task_of
from services.language import marked, say
from services.positions import POSITIONS
from services.summary import Taken, say_finding
from services.units import say_distance
from tracker.models import DueLine, Fitment, Owner, OwnerLink, Ownership, SweepRun, Trike, Visit, VisitLine
from tracker.queries.clock import local_date
from tracker.queries.due import describe, now_km, status_of
from tracker.queries.fleet_numbers import trikes_behind

LEAD_DAYS = 14  # a visit is proposed this long before its first task falls due
SHARE = 7  # each trike is checked once a week
OWN_AHEAD_DAYS = 7  # what owners can do themselves is told this long before
STATUS_WORDS = marked({"ok": "in good time", "soon": "soon", "due": "due now", "overdue": "overdue"})


@dataclass(frozen=True)
class Told:
    """One due task as the owner reads it."""

    code: str
    title: str
    plain: str  # what it is and why it matters, in everyday words
    why: str  # the sentence with the numbers, in the owner's unit
    due_on: date
    status: str  # ok, soon, due, overdue
    status_words: str
    safety: bool
    owner_can: bool
    cautions: tuple[str, ...]
    parts: tuple[int, ...] = ()  # the components it is told of


@dataclass(frozen=True)
class OwnerView:
    """Everything a letter or an owner page says about one trike."""

    owner: Owner
    trike: Trike
    today: date  # on the owner's calendar
    visit: Visit | None
    work: tuple[Told, ...]  # for the workshop
    own: tuple[Told, ...]  # what owners can do themselves
    later: tuple[Told, ...]  # the next ones after that, nothing to do yet
    has_run: str = ""  # how far it has run by our reckoning, in the owner's unit; '' where nothing tells

    @property
    def name(self) -> str:
        """The trike as its owner knows it."""
        return trike_name(self.trike)


def trike_name(trike: Trike) -> str:
    """Return a trike as its owner knows it: model and plate, else the frame's serial."""
    return " ".join(filter(None, [trike.model, trike.plate])) or trike.frame_serial


def owner_today(owner: Owner, now: datetime) -> date:
    """Return the date on the owner's calendar at `now`."""
    return now.astimezone(ZoneInfo(owner.time_zone)).date()


def bare_view(trike: Trike, owner: Owner, now: datetime) -> OwnerView:
    """Return owner and trike alone, for a letter that speaks of no task. No query."""
    return OwnerView(owner, trike, owner_today(owner, now), None, (), (), ())


def owner_view(trike: Trike, owner: Owner, now: datetime) -> OwnerView:
    """Return what the owner of `trike` is told at `now`. Four queries."""
    today = owner_today(owner, now)
    visit = Visit.objects.filter(trike=trike, state=Visit.State.OPEN).prefetch_related("lines").first()
    planned = {(line.component_id, line.task) for line in visit.lines.all()} if visit else set()
    lines = list(
        DueLine.objects.filter(trike=trike, due_on__isnull=False)
        .select_related("component__part_type")
        .order_by("due_on", "pk")
    )
    work, own, later = [], [], []
    for line in lines:
        if line.owner_can and line.due_on <= today + timedelta(days=OWN_AHEAD_DAYS):
            own.append(line)
        elif not line.owner_can and (line.component_id, line.task) in planned:
            work.append(line)
        else:
            later.append(line)
    places = _places(trike)
    parts = [_told_once(some, places, today, owner) for some in (work, own, later)]
    has_run = _has_run(lines, places, today, owner.distance_unit)
    return OwnerView(owner, trike, today, visit, parts[0], parts[1], parts[2][:6], has_run)


def _has_run(lines: Sequence[DueLine], places: dict[int, str], today: date, unit: str) -> str:
    """The life of the frame, which is the trike's."""
    frames = [line.facts for line in lines if places.get(line.component_id) == POSITIONS["frame"].title]
    told = [km for km in (now_km(facts, today) for facts in frames if "anchor" in facts) if km is not None]
    return say_distance(told[0], unit) if told else ""


def _places(trike: Trike) -> dict[int, str]:
    """Component id -> where it sits, in words."""
    rows = Fitment.objects.current().filter(trike=trike).values_list("component_id", "position")
    return {component_id: POSITIONS[position].title for component_id, position in rows}


def _told_once(lines: Sequence[DueLine], places: dict[int, str], today: date, owner: Owner) -> tuple[Told, ...]:
    """Tell the same task of several parts once where all is alike, and by place where it is not."""
    alike: dict[Told, list[DueLine]] = {}
    for line in lines:
        alike.setdefault(tell(line, today, owner), []).append(line)
    often = Counter(told.title for told in alike for _ in alike[told])
    return tuple(
        replace(
            told, title=_with_places(told, same, places) if often[told.title] > 1 else told.title,
            parts=tuple(line.component_id for line in same),
        )
        for told, same in alike.items()
    )  # fmt: skip


def _with_places(told: Told, lines: Sequence[DueLine], places: dict[int, str]) -> str:
    where = (say(places.get(line.component_id, "")) for line in lines)
    return f"{told.title}: {', '.join(filter(None, where))}"


def tell(line: DueLine, today: date, owner: Owner) -> Told:
    """Return one due line as its owner reads it."""
    task = task_of(line.task)
    status, title = status_of(line, today), say(task.title)
    sentence = describe(line, today, owner.distance_unit, _measured(line.facts.get("finding"), owner.pressure_unit))
    return Told(
        code=task.code,
        title=title,
        plain=say(task.plain),
        why=_sentence_alone(sentence, title),
        due_on=line.due_on,
        status=status,
        status_words=say(STATUS_WORDS[status]),
        safety=line.safety,
        owner_can=line.owner_can,
        cautions=tuple(map(say, cautions_of(line.task))) if line.safety or line.owner_can else (),
    )


def _measured(finding: dict[str, Any] | None, pressure: str) -> str | None:
    """What was measured, for its owner; None where the line rests on no measurement."""
    return say_finding(Taken(**finding), pressure) if finding else None


def _sentence_alone(sentence: str, title: str) -> str:
    """The sentence without its title, which stands above it already."""
    rest = sentence.removeprefix(f"{title}: ")
    return rest[:1].upper() + rest[1:]


@cache
def cautions_of(task_code: str) -> tuple[str, ...]:
    """Return the cautions of the service kind that a task belongs to."""
    for kind in all_kinds():
        if any(task.code == task_code for task in kind.tasks):
            return tuple(kind.cautions)
    return ()


def owners_of(trike_ids: Iterable[int]) -> dict[int, Owner]:
    """Return trike id -> present owner."""
    rows = Ownership.objects.filter(trike_id__in=list(trike_ids), until__isnull=True).select_related("owner")
    return {row.trike_id: row.owner for row in rows}


def owns(owner_id: int, trike_id: int) -> bool:
    """Whether this person owns this trike now."""
    return Ownership.objects.filter(owner_id=owner_id, trike_id=trike_id, until__isnull=True).exists()


def may_write_to(owner: Owner | None) -> bool:
    """Whether a routine reminder may go to this owner: agreed, not stopped, an address that is not known dead."""
    return bool(
        owner and owner.reminders_agreed and owner.email and owner.stopped_at is None and owner.email_dead_at is None
    )


def link_by_hash(token_hash: str, purpose: str) -> OwnerLink | None:
    """Return the link with this hash and purpose, or None."""
    return OwnerLink.objects.filter(token_hash=token_hash, purpose=purpose).select_related("owner", "trike").first()


def due_lines_by_trike(trike_ids: Iterable[int]) -> dict[int, list[DueLine]]:
    """Return the dated due lines of delivered trikes, soonest first. Who had a trike stolen is asked to no visit."""
    lines: dict[int, list[DueLine]] = {}
    rows = DueLine.objects.filter(
        trike_id__in=list(trike_ids), due_on__isnull=False, trike__state=Trike.State.DELIVERED,
        trike__stolen_on__isnull=True,
    )  # fmt: skip
    for row in rows.order_by("trike_id", "due_on", "pk"):
        lines.setdefault(row.trike_id, []).append(row)
    return lines


def lines_of_visit(visit: Visit) -> list[DueLine]:
    """Return the stored due lines of a visit's tasks, as they stand now, soonest first."""
    wanted = set(VisitLine.objects.filter(visit=visit).values_list("component_id", "task"))
    rows = DueLine.objects.filter(trike_id=visit.trike_id, due_on__isnull=False).order_by("due_on", "pk")
    return [row for row in rows if (row.component_id, row.task) in wanted]


def stage_word(stage: str | None) -> str:
    """Return heads_up, due or overdue, also for the monthly stages after it; an empty text before the first."""
    return "overdue" if stage and stage.startswith("monthly") else stage or ""


def still_due(lines: Sequence[DueLine], today: date) -> bool:
    """Whether any of these lines is due, or near enough to write about."""
    ahead = today + timedelta(days=LEAD_DAYS)
    return any(line.due_on <= ahead or (line.early_on and line.early_on <= today) for line in lines)


def in_share(trike_id: int, now: datetime) -> bool:
    """Whether it is this trike's night to have its stored due lines compared with computed ones."""
    return trike_id % SHARE == local_date(now).toordinal() % SHARE


def trikes_to_sweep(now: datetime, *, everything: bool = False) -> list[int]:
    """Return the trikes a sweep must look at, dirty ones first.

    These are: due lines waiting for a refresh, a task in or near its early window, a visit open, and each night one
    trike in SHARE to prove that stored and computed lines agree, and all that wait for new fleet numbers. `everything`
    takes all that are not retired.
    """
    today = local_date(now)
    trikes = Trike.objects.exclude(state=Trike.State.RETIRED)
    dirty = set(trikes.filter(due_dirty=True).values_list("pk", flat=True))
    known = set(trikes.values_list("pk", flat=True))
    if everything:
        return sorted(dirty) + sorted(known - dirty)
    near = DueLine.objects.filter(due_on__lte=today + timedelta(days=LEAD_DAYS)) | DueLine.objects.early_by(today)
    chosen = set(near.values_list("trike_id", flat=True).distinct())
    chosen |= set(Visit.objects.filter(state=Visit.State.OPEN).values_list("trike_id", flat=True))
    chosen |= {pk for pk in known if in_share(pk, now)} | set(trikes_behind())
    return sorted(dirty) + sorted((chosen & known) - dirty)


def last_sweep() -> SweepRun | None:
    """Return the last sweep that came to its end."""
    return SweepRun.objects.filter(finished_at__isnull=False).order_by("-finished_at").first()
