"""Bulletins: written, released by a second person, matched again every night, worked off, ended.

A draft is changed by whoever writes bulletins; what was released stands. Components come under a bulletin the moment it is
released and, later, in the transaction that writes them (bulletin_steps.follow_bulletins).
"""

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from services.bulletins import DONE, HEADLINE, MOVES, Scope, notice_warnings, order_key
from services.identity import clean_text
from services.language import ENGLISH, LANGUAGES, say
from tracker.actions.bulletin_notices import drop_notices, told, write_notices
from tracker.actions.bulletin_steps import hold_part, join_parts, move_parts
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, NotEnough, SameSigner, WrongState
from tracker.actions.reminder_visits import plan_visits
from tracker.actions.steps import lock_trikes, lock_version, only_these, refresh_due
from tracker.actions.transactions import action
from tracker.models import (
    Appointment,
    Bulletin,
    BulletinNotice,
    BulletinPart,
    BulletinRange,
    BulletinText,
    Completion,
    DueLine,
    Fitment,
    OwnerLink,
    PartType,
    User,
)
from tracker.queries.bulletins import task_code, typed_scope
from tracker.queries.clock import local_date
from tracker.queries.reminders import due_lines_by_trike

State = Bulletin.State
TEXTS = {"title": 120, "hazard": 2_000, "stop_riding": 400, "remedy": 2_000, "work": 2_000, "note": 2_000}
PLAIN = (
    "severity",
    "is_hazard",
    "minutes",
    "deadline_on",
    "deadline_km",
    "every_months",
    "every_km",
    "made_from",
    "made_until",
)
SCOPE = {"part_types", "serials", "batches", "firmware", "made_from", "made_until"}
FOR_OWNERS = ("title", "hazard", "stop_riding", "remedy")  # what owners read of it
CHANGES = {*TEXTS, *PLAIN, *SCOPE, "texts"}
LIMITS = {"minutes": (1, 1_440), "deadline_km": (1, 100_000), "every_months": (1, 240), "every_km": (1, 100_000)}
MOST_RANGES, MOST_MARKS = 200, 200
MOST_NUMBERS = 50  # bulletins begun at the very same moment, one of which wins each number


class WarningsNotRead(Conflict):
    """The notice softens the hazard; `warnings` has a sentence for each word. Released all the same once they were read."""

    code = "warnings-not-read"


# Written


@action
def write_bulletin(
    *, values: Mapping[str, Any], bulletin_id: int | None = None, version: int | None = None, by: User, now: datetime
) -> Bulletin:
    """Begin a draft, or change one; what `values` leaves out stays as it is.

    values: title, severity, is_hazard, hazard, stop_riding, remedy, work, minutes, deadline_on, deadline_km, every_months,
    every_km, note; part_types (ids), serials ((first, last) pairs), batches, firmware (texts), made_from, made_until; texts:
    language -> {title, hazard, stop_riding, remedy} for owners who read it, empty ones to take it out.
    Raises NotEnough, FieldInvalid, FieldNotChangeable, BadScope, BadSerial, BadText, WrongState (released), StaleVersion.
    """
    only_these(values, CHANGES)
    row = _draft(bulletin_id, version) if bulletin_id else Bulletin()
    for name in PLAIN:
        setattr(row, name, values.get(name, getattr(row, name)))
    for name, limit in TEXTS.items():
        setattr(row, name, clean_text(values.get(name) or "", limit) if name in values else getattr(row, name))
    _check(row, now)
    _check_types(values)
    scope = typed_scope({**_scope_values(row), **{name: values[name] for name in SCOPE & values.keys()}})
    _check_size(scope)
    row.batches, row.firmware = sorted(scope.batches), sorted(scope.firmware)
    row.written_by, row.written_at = by, now
    if bulletin_id:
        row.version += 1
        row.save()
    else:
        row = _numbered(row, now)
    _write_scope(row, scope)
    _write_texts(row, values.get("texts", {}))
    _check_texts(row)
    return row


def _draft(bulletin_id: int, version: int | None) -> Bulletin:
    row = lock_version(Bulletin, bulletin_id, version)
    if row.state != State.DRAFT:
        raise WrongState(
            f"Bulletin {row} is {row.get_state_display()}.", field="state",
            remedy="What was released stands: withdraw it and write another.",
        )  # fmt: skip
    return row


def _scope_values(row: Bulletin) -> dict[str, Any]:
    """The scope of a draft as it stands."""
    if row.pk is None:
        return {}
    return {
        "part_types": list(row.part_types.values_list("pk", flat=True)),
        "serials": list(row.ranges.values_list("first", "last")), "batches": row.batches, "firmware": row.firmware,
        "made_from": row.made_from, "made_until": row.made_until,
    }  # fmt: skip


def _check(row: Bulletin, now: datetime) -> None:
    if not row.title:
        raise NotEnough("The bulletin has no title.", field="title", remedy="Say which part and what is wrong with it.")
    if row.severity not in Bulletin.Severity.values:
        raise FieldInvalid(f"'{row.severity}' is no severity.", field="severity", remedy="Choose from the list.")
    if row.severity == Bulletin.Severity.STOP and not row.is_hazard:
        raise FieldInvalid(
            "Who must stop riding is in danger.", field="is_hazard", remedy="Say that somebody can be hurt."
        )
    if row.is_hazard and not row.hazard:
        raise NotEnough("What can happen?", field="hazard", remedy="Say which part fails how, and what that does.")
    if row.is_hazard and not row.stop_riding:
        raise NotEnough(
            "What does the owner do now?", field="stop_riding", remedy="Stop riding, or how to make it safe."
        )
    if row.severity != Bulletin.Severity.INFORMATION and not row.remedy:
        raise NotEnough("What is done about it?", field="remedy", remedy="Say what the workshop does, for the owner.")
    for name, (low, high) in LIMITS.items():
        value = getattr(row, name)
        if value is not None and not low <= value <= high:
            raise FieldInvalid(f"{name} lies between {low:,} and {high:,}.", field=name, remedy="Check the number.")
    if row.deadline_on is not None and row.deadline_on < local_date(now):
        raise FieldInvalid("The deadline has passed.", field="deadline_on", remedy="Give a day to come.")


def _check_types(values: Mapping[str, Any]) -> None:
    ids = list(values.get("part_types") or ())
    if len(set(ids)) != PartType.objects.filter(pk__in=ids).count():
        raise Invalid("There is no such part type.", field="part_types", remedy="Choose from the catalogue.")


def _check_size(scope: Scope) -> None:
    for name, some, most in (
        ("serials", scope.serials, MOST_RANGES), ("batches", scope.batches, MOST_MARKS), ("firmware", scope.firmware, MOST_MARKS),
    ):  # fmt: skip
        if len(some) > most:
            raise FieldInvalid(f"{len(some)} of {name}; {most} fit.", field=name, remedy="Write a second bulletin.")


def _numbered(row: Bulletin, now: datetime) -> Bulletin:
    """The draft under the next free number of the year: B-2026-001. A lost race takes the next one."""
    head = f"B-{local_date(now):%Y}-"
    for _ in range(MOST_NUMBERS):
        taken = Bulletin.objects.filter(number__startswith=head).values_list("number", flat=True)
        last = max((int(number.removeprefix(head)) for number in taken), default=0)
        row.pk, row.number = None, f"{head}{last + 1:03d}"
        with suppress(IntegrityError), transaction.atomic():
            row.save(force_insert=True)
            return row
    raise WrongState("Many bulletins are being begun.", field="number", remedy="Save it again in a moment.")


def _write_scope(row: Bulletin, scope: Scope) -> None:
    row.part_types.set(PartType.objects.filter(part_number__in=scope.part_types))
    row.ranges.all().delete()
    BulletinRange.objects.bulk_create(
        BulletinRange(bulletin=row, first=first, last=last, first_key=order_key(first), last_key=order_key(last))
        for first, last in scope.serials
    )


def _write_texts(row: Bulletin, texts: Mapping[str, Mapping[str, str]]) -> None:
    """Write what owners of other languages read; a language whose texts are all empty goes."""
    for code, written in texts.items():
        if code not in LANGUAGES or code == ENGLISH:
            raise FieldInvalid(f"'{code}' is no other language of ours.", field="texts", remedy="See the languages.")
        clean = {name: clean_text(written.get(name) or "", TEXTS[name]) for name in FOR_OWNERS}
        row.texts.filter(language=code).delete()
        if any(clean.values()):
            BulletinText.objects.create(bulletin=row, language=code, **clean)


def _check_texts(row: Bulletin) -> None:
    """Each language tells all of what the English tells: half a warning is none."""
    for words in BulletinText.objects.filter(bulletin=row):
        for name in FOR_OWNERS:
            if getattr(row, name) and not getattr(words, name):
                raise NotEnough(
                    f"This is missing in {LANGUAGES[words.language]}.", field=f"{name}_{words.language}",
                    remedy="Say all of it, or leave that language out: then its readers get the English.",
                )  # fmt: skip


# Released


def warnings_of(bulletin: Bulletin) -> tuple[str, ...]:
    """Return what to put right in the notice of a hazard bulletin before it goes out; nothing for others."""
    if not bulletin.is_hazard:
        return ()
    told = [bulletin, *bulletin.texts.all()]
    return notice_warnings(HEADLINE, "\n".join(getattr(words, name) for words in told for name in FOR_OWNERS))


@action
def release_bulletin(
    *, bulletin_id: int, version: int | None, warnings_read: bool = False, by: User, now: datetime
) -> Bulletin:
    """Release a draft: what it matches comes under it, due lines and logbooks follow, owners of a hazard get their notice.

    Raises WrongState (released already), StaleVersion, SameSigner (who wrote it), WarningsNotRead.
    """
    row = _draft(bulletin_id, version)
    if row.written_by_id == by.pk:
        raise SameSigner(
            f"You wrote bulletin {row}.", field="released_by", remedy="A second person reads it and releases it."
        )
    warnings = warnings_of(row)
    if warnings and not warnings_read:
        raise WarningsNotRead(
            " ".join(warnings), field="warnings_read", remedy="Change the words, or say that you read this.",
            warnings=list(warnings),
        )  # fmt: skip
    row.state, row.released_by, row.released_at = State.RELEASED, by, now
    row.version += 1
    row.save(update_fields=["state", "released_by", "released_at", "version"])
    _spread(row, join_parts(row, now, by), now)
    return row


def _spread(row: Bulletin, touched: set[int], now: datetime) -> None:
    """Let due lines and visits follow on these trikes, so that owners of a hazard can choose a day, and write to the owners."""
    refresh_due(touched, now)
    if row.is_hazard:
        ids = sorted(touched)
        plan_visits(ids, due_lines_by_trike(ids), now)
    write_notices(row, now)


@action
def match_again(*, bulletin_id: int, now: datetime) -> int:
    """Bring one released bulletin up to the record: parts join and leave, repeated work opens, notices missing are written.

    Safe to run twice and at the same time. Returns how many trikes it touched.
    """
    rows = Bulletin.objects.select_for_update(of=("self",), no_key=True)  # others may go on writing steps under it
    row = rows.filter(pk=bulletin_id, state=State.RELEASED).first()
    if row is None:
        return 0
    touched = join_parts(row, now, None) | _reopen(row, now)
    _spread(row, touched, now)
    return len(touched)


def match_all(*, now: datetime) -> int:
    """Match every released bulletin again, a transaction each; return how many trikes were touched."""
    ids = Bulletin.objects.filter(state=State.RELEASED).order_by("pk").values_list("pk", flat=True)
    return sum(match_again(bulletin_id=pk, now=now) for pk in list(ids))


def _reopen(bulletin: Bulletin, now: datetime) -> set[int]:
    """Open what a repetitive bulletin asks for again: by its day, or where the due list tells that the distance has come."""
    today = local_date(now)
    done = BulletinPart.objects.filter(bulletin=bulletin, state__in=DONE - {"scrapped"}).select_related("bulletin")
    by_day = done.filter(next_due_on__lte=today)
    lines = DueLine.objects.filter(task=task_code(bulletin), due_on__lte=today).values("component_id")
    by_km = done.filter(next_due_km__isnull=False, component_id__in=lines)
    parts = {part.pk: part for part in (*by_day, *by_km)}
    return move_parts(list(parts.values()), "affected", at=now, now=now, by=None)


@action
def end_bulletin(
    *, bulletin_id: int, version: int | None, how: str, why: str = "", by: User, now: datetime
) -> Bulletin:
    """Close a released bulletin ('closed'), or withdraw it or a draft ('withdrawn'): its due lines go, waiting notices too.

    Raises WrongState, StaleVersion, FieldInvalid, NotEnough (withdrawn, or closed with open parts, without a reason).
    """
    here = Fitment.objects.current().filter(component__bulletin_parts__bulletin_id=bulletin_id)
    held = lock_trikes(set(here.values_list("trike_id", flat=True)))
    row = lock_version(Bulletin, bulletin_id, version)
    if how not in (State.CLOSED, State.WITHDRAWN):
        raise FieldInvalid(f"'{how}' is no end of a bulletin.", field="how", remedy="Say closed or withdrawn.")
    if row.state not in (State.RELEASED, State.DRAFT) or (how == State.CLOSED and row.state == State.DRAFT):
        raise WrongState(
            f"Bulletin {row} is {row.get_state_display()}.", field="state", remedy="Nothing is to be ended."
        )
    words, parts = clean_text(why, 400), BulletinPart.objects.filter(bulletin=row)
    if not words and (how == State.WITHDRAWN or parts.exclude(state__in=DONE).exists()):
        raise NotEnough("Say why, in a few words.", field="why", remedy="Parts are open, or it is taken back.")
    row.state, row.ended_by, row.ended_at, row.ended_why = how, by, now, words
    row.version += 1
    row.save(update_fields=["state", "ended_by", "ended_at", "ended_why", "version"])
    drop_notices(row, "The bulletin was closed or withdrawn.")
    refresh_due(held, now)
    return row


# Worked off


@action
def move_part(
    *, part_id: int, version: int | None = None, state: str, note: str = "", at: datetime | None = None, by: User,
    now: datetime,
) -> BulletinPart:  # fmt: skip
    """Move one component to another state (services.bulletins.MOVES). What was corrected or inspected is a completion.

    Raises Invalid, FieldInvalid, BadStep, NotEnough (refused without a word), WrongState (bulletin not released), StaleVersion.
    """
    part = _held(part_id, version)
    if state not in MOVES:
        raise FieldInvalid(f"'{state}' is no state.", field="state", remedy=f"Use {', '.join(sorted(MOVES))}.")
    if state == "refused" and not note.strip():
        raise NotEnough("Say why, in a few words.", field="note", remedy="Who refused what, and when.")
    if at is not None and at > now:
        raise FieldInvalid("It lies in the future.", field="at", remedy="Check the date.")
    touched = move_parts([part], state, at=at or now, now=now, by=by, note=note)
    if state in {"corrected", "inspected"}:
        _complete(part, at or now, now)
    refresh_due(touched, now)
    return part


def _held(part_id: int, version: int | None) -> BulletinPart:
    hold_part(part_id)
    part = lock_version(BulletinPart, part_id, version)
    if part.bulletin.state != State.RELEASED:
        raise WrongState(
            f"Bulletin {part.bulletin} is {part.bulletin.get_state_display()}.", field="state",
            remedy="Only components of a released bulletin move.",
        )  # fmt: skip
    return part


def _complete(part: BulletinPart, at: datetime, now: datetime) -> None:
    """Keep what was done without a job card as a completion, where the component sits on a trike."""
    here = Fitment.objects.current().filter(component_id=part.component_id).first()
    if here is not None:
        Completion.objects.create(
            component_id=part.component_id, trike_id=here.trike_id, task=task_code(part.bulletin), done_at=at, source="desk",
            recorded_at=now,
        )  # fmt: skip


@action
def book_part(
    *, part_id: int, appointment_id: int, version: int | None = None, by: User, now: datetime
) -> BulletinPart:
    """Let an open appointment of the component's trike take in the work. Raises Invalid, BadStep, WrongState, StaleVersion."""
    part = _held(part_id, version)
    here = Fitment.objects.current().filter(component_id=part.component_id).values("trike_id")
    day = Appointment.objects.filter(pk=appointment_id, trike_id__in=here, state__in=["asked", "confirmed"]).first()
    if day is None:
        raise Invalid(
            "This trike has no such appointment.", field="appointment", remedy="Choose an open day of the trike."
        )
    touched = move_parts([part], "booked", at=now, now=now, by=by, day=day)
    refresh_due(touched, now)
    return part


# Told


@action
def note_told(*, notice_id: int, note: str = "", by: User, now: datetime) -> BulletinNotice:
    """Note that an owner was told by telephone or in person. Raises Invalid, WrongState (told already)."""
    notice = BulletinNotice.objects.select_for_update(of=("self",)).filter(pk=notice_id).first()
    if notice is None:
        raise Invalid("There is no such notice.", field="id", remedy="Look at the list again.")
    if notice.told_at is not None:
        raise WrongState("They were told already.", field="id", remedy="There is nothing to note.")
    notice.told_at, notice.told_by, notice.told_note = now, by, clean_text(note, 400)
    notice.save(update_fields=["told_at", "told_by", "told_note"])
    told(notice.bulletin_id, notice.trike_id, reached=True, now=now, by=by)
    return notice


@action
def acknowledge(*, link: OwnerLink, bulletin_id: int, now: datetime) -> BulletinNotice:
    """Note that the owner of a link read the notice on their page; once is enough. Raises Invalid."""
    rows = BulletinNotice.objects.select_for_update(of=("self",))
    notice = rows.filter(bulletin_id=bulletin_id, trike_id=link.trike_id, owner_id=link.owner_id).first()
    if notice is None:
        raise Invalid(say("There is no such notice."), field="bulletin", remedy=say("Open your trike's page again."))
    if notice.read_at is None:
        notice.read_at = now
        notice.save(update_fields=["read_at"])
        told(bulletin_id, link.trike_id, reached=True, now=now, by=None)
    return notice
