"""Steps under bulletins that several actions share: components join, follow what is known of them, and move on.

They open no transaction of their own. Each step of a component is kept (BulletinStep) and, where it sits on a trike,
stands in that trike's logbook. Due lines are left to the action: every step returns the trikes it touched.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime

from services.bulletins import DONE, check_step
from services.identity import clean_text
from services.kinds import from_bulletin
from services.rebasing import add_months
from tracker.actions.steps import LogDraft, chunks, lock_trikes, write_logs
from tracker.models import Appointment, Bulletin, BulletinPart, BulletinStep, Component, Fitment, JobCard, JobTask, User
from tracker.models.bulletins import OPEN_STATES
from tracker.queries.bulletins import asking_parts, matching, open_parts, scope_of
from tracker.queries.clock import local_date
from tracker.queries.life import lives_of

JOINED, LEFT = "", ""  # before the first state, after the last


def join_parts(bulletin: Bulletin, now: datetime, by: User | None, within: Collection[int] | None = None) -> set[int]:
    """Bring the components under a bulletin up to what its scope matches now; return the trikes they sit on.

    within: only these components. New ones join, scrapped ones as scrapped; what turns out not to be in the scope leaves
    it, as long as nothing was done about it.
    """
    rows, known = matching(scope_of(bulletin)).order_by(), BulletinPart.objects.filter(bulletin=bulletin)
    if within is not None:
        rows, known = rows.filter(pk__in=within), known.filter(component_id__in=within)
    matched = {pk: (certainty, state) for pk, certainty, state in rows.values_list("pk", "certainty", "state")}
    there = {part.component_id: part for part in known.select_related("bulletin")}
    _surer([part for pk, part in there.items() if pk in matched and part.certainty != matched[pk][0]], matched)
    gone = [part for pk, part in there.items() if pk not in matched and part.state in OPEN_STATES and not part.done_at]
    touched = _leave(gone, now, by) | _join(bulletin, {pk: matched[pk] for pk in matched if pk not in there}, now, by)
    scrapped = [part for pk, part in there.items() if part.state in OPEN_STATES and _is_scrapped(matched.get(pk))]
    return touched | move_parts(scrapped, "scrapped", at=now, now=now, by=by)


def _is_scrapped(known: tuple[str, str] | None) -> bool:
    return known is not None and known[1] == Component.State.SCRAPPED


def _surer(parts: Sequence[BulletinPart], matched: dict[int, tuple[str, str]]) -> None:
    """More, or less, is known of these components than when they joined."""
    for part in parts:
        part.certainty = matched[part.component_id][0]
    BulletinPart.objects.bulk_update(parts, ["certainty"], batch_size=500)


def _join(bulletin: Bulletin, matched: dict[int, tuple[str, str]], now: datetime, by: User | None) -> set[int]:
    """Write down the components that came under a bulletin. Of two who do so at the same moment, one does."""
    places = _hold(matched)
    BulletinPart.objects.bulk_create(
        (
            BulletinPart(
                bulletin=bulletin, component_id=pk, certainty=certainty, joined_at=now, since=now, by=by,
                state="scrapped" if state == Component.State.SCRAPPED else "affected",
            )
            for pk, (certainty, state) in sorted(matched.items())
        ),
        batch_size=500, ignore_conflicts=True,
    )  # fmt: skip
    mine: list[BulletinPart] = []
    for some in chunks(sorted(matched), 500):
        rows = BulletinPart.objects.filter(bulletin=bulletin, component_id__in=some, joined_at=now)
        mine += rows.select_related("bulletin").order_by("component_id")
    return _write_steps([(part, JOINED, part.state) for part in mine], places, at=now, now=now, by=by)


def _leave(parts: Sequence[BulletinPart], now: datetime, by: User | None) -> set[int]:
    places = _hold(part.component_id for part in parts)
    touched = _write_steps([(part, part.state, LEFT) for part in parts], places, at=now, now=now, by=by)
    for some in chunks([part.pk for part in parts], 500):
        BulletinPart.objects.filter(pk__in=some).delete()
    return touched


def follow_bulletins(component_ids: Iterable[int], now: datetime, by: User | None = None) -> set[int]:
    """Let released bulletins follow what was just written about these components; return the trikes whose due lines change.

    One query where no released bulletin names their part types.
    """
    ids = set(component_ids)
    touched: set[int] = set()
    for some in chunks(sorted(ids), 500):
        types = Component.objects.filter(pk__in=some).values("part_type")
        rows = Bulletin.objects.filter(state=Bulletin.State.RELEASED, part_types__in=types).distinct().order_by("pk")
        for bulletin in rows.prefetch_related("part_types", "ranges"):
            touched |= join_parts(bulletin, now, by, some)
    return touched


def move_parts(
    parts: Sequence[BulletinPart], after: str, *, at: datetime, now: datetime, by: User | None, note: str = "",
    card: JobCard | None = None, day: Appointment | None = None, on_trike: int | None = None,
) -> set[int]:  # fmt: skip
    """Move components to another state, `at` when it was done; return the trikes they sit on. Raises BadStep.

    day: the appointment of those that are booked. on_trike: the one they all sit on, which the caller has locked.
    What a repetitive bulletin asks for again gets its next day and distance, counted from `at`.
    """
    ids = [part.component_id for part in parts]
    places = _hold(ids) if on_trike is None else dict.fromkeys(ids, on_trike)
    steps, words = [], clean_text(note, 400)
    for part in parts:
        check_step(part.state, after)
        steps.append((part, part.state, after))
        part.state, part.since, part.by, part.note = after, at, by, words
        part.version += 1
        part.appointment = day
    if after in DONE:
        _set_next(parts, at)
    changed = ["state", "since", "by", "note", "version", "done_at", "next_due_on", "next_due_km", "appointment"]
    BulletinPart.objects.bulk_update(parts, changed, batch_size=500)
    return _write_steps(steps, places, at=at, now=now, by=by, note=words, card=card)


def _set_next(parts: Sequence[BulletinPart], at: datetime) -> None:
    """Note when they were done, and when a repetitive bulletin wants the work again."""
    by_km = [part.component_id for part in parts if part.bulletin.every_km and part.state != "scrapped"]
    lives = lives_of(by_km, at) if by_km else {}
    for part in parts:
        months, km, life = part.bulletin.every_months, part.bulletin.every_km, lives.get(part.component_id)
        part.done_at = at
        again = part.state != "scrapped"
        part.next_due_on = add_months(local_date(at), months) if again and months else None
        known = again and km and life is not None and not life.is_unknown
        part.next_due_km = round(float(life.km) + km, 3) if known else None


def _write_steps(
    steps: Sequence[tuple[BulletinPart, str, str]], places: Mapping[int, int], *, at: datetime, now: datetime,
    by: User | None, note: str = "", card: JobCard | None = None,
) -> set[int]:  # fmt: skip
    """Keep these steps, and tell each trike's logbook; what people noted stays out of what is hashed."""
    BulletinStep.objects.bulk_create(
        (
            BulletinStep(
                bulletin_id=part.bulletin_id, component_id=part.component_id, trike_id=places.get(part.component_id),
                before=before, after=after, at=at, by=by, note=note, job_card=card, recorded_at=now,
            )
            for part, before, after in steps
        ),
        batch_size=500,
    )  # fmt: skip
    drafts = [
        LogDraft(
            places[part.component_id], "bulletin", at,
            {"bulletin": part.bulletin.number, "before": before, "after": after, **({"card": card.number} if card else {})},
            part.component_id, by.pk if by else None, "job_card" if card else "desk",
        )
        for part, before, after in steps
        if part.component_id in places
    ]  # fmt: skip
    if drafts:
        write_logs(drafts, now)
    return {draft.trike_id for draft in drafts}


def _hold(component_ids: Iterable[int]) -> dict[int, int]:
    """Lock the trikes before any part of a bulletin is written, as every action does: nobody then waits in a circle.

    Returns component id -> the trike it sits on, as it stands once they are locked.
    """
    ids = list(component_ids)
    lock_trikes(set(_places(ids).values()))
    return _places(ids)


def _places(component_ids: Sequence[int]) -> dict[int, int]:
    """Component id -> the trike it sits on now."""
    places: dict[int, int] = {}
    for some in chunks(list(component_ids), 500):
        places |= dict(Fitment.objects.current().filter(component_id__in=some).values_list("component_id", "trike_id"))
    return places


def carry_out_bulletins(card: JobCard, at: datetime, by: User, now: datetime) -> set[int]:
    """Move the components whose bulletin work a card records as done, and those it scrapped. A step of signing.

    Corrected, unless the card says that nothing was found: then inspected.
    """
    done = card.tasks.filter(outcome=JobTask.Outcome.DONE, task__startswith="bulletin:")
    outcome = {(row.component_id, from_bulletin.number_of(row.task)): row.not_affected for row in done}
    parts = [
        part for part in workable({pk for pk, _ in outcome}) if (part.component_id, part.bulletin.number) in outcome
    ]
    again = [part for part in parts if part.state in DONE]  # repeated work, done before the day it was due
    touched = move_parts(again, "affected", at=at, now=now, by=by, card=card)
    for after in ("corrected", "inspected"):
        these = [
            part for part in parts if bool(outcome[part.component_id, part.bulletin.number]) is (after == "inspected")
        ]
        touched |= move_parts(these, after, at=at, now=now, by=by, card=card)
    swapped = card.swaps.values_list("old_component_id", "new_component_id")
    return touched | follow_bulletins({pk for pair in swapped for pk in pair if pk}, now, by)


def workable(component_ids: Collection[int]) -> list[BulletinPart]:
    """Return, locked, what released bulletins ask of these components now or again later: work on it can be recorded."""
    rows = asking_parts().filter(component_id__in=component_ids).exclude(state="scrapped")
    return list(rows.select_for_update(of=("self",)).select_related("bulletin").order_by("pk"))


def follow_day(day: Appointment, now: datetime, by: User | None) -> set[int]:
    """Book what is open on the trike of a day that is agreed; free it again where that day is lost. Returns the trike touched."""
    here = Fitment.objects.components_on(day.trike_id)
    rows = (
        open_parts()
        .filter(component_id__in=here)
        .select_for_update(of=("self",))
        .select_related("bulletin")
        .order_by("pk")
    )
    if day.state == Appointment.State.CONFIRMED:
        return move_parts(list(rows.exclude(state="booked")), "booked", at=now, now=now, by=by, day=day)
    return move_parts(list(rows.filter(state="booked", appointment=day)), "notified", at=now, now=now, by=by)


def hold_part(part_id: int) -> None:
    """Lock the trike that a component under a bulletin sits on, before its own row."""
    _hold(BulletinPart.objects.filter(pk=part_id).values_list("component_id", flat=True))


def open_on(trike_id: int, bulletin_id: int) -> list[BulletinPart]:
    """Return the open parts of one bulletin that sit on a trike now, locked, the trike first."""
    lock_trikes([trike_id])
    here = Fitment.objects.components_on(trike_id)
    rows = open_parts().filter(bulletin_id=bulletin_id, component_id__in=here)
    return list(rows.select_for_update(of=("self",)).select_related("bulletin").order_by("pk"))
