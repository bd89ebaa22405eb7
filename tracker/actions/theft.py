"""A trike is stolen, and found again. While it is gone no reminder is written; its record and its due list stay."""

from datetime import date, datetime

from services.identity import clean_text
from tracker.actions.refusals import FieldInvalid, WrongState
from tracker.actions.steps import draft_of, lock_version, write_logs
from tracker.actions.transactions import action
from tracker.actions.visit_steps import drop_reminders, drop_visit
from tracker.models import Trike, User
from tracker.queries.clock import local_date


@action
def report_stolen(
    *, trike_id: int, on: date, note: str = "", version: int | None = None, by: User | None = None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Mark a trike stolen since `on`; its visit is dropped and reminders are held. note: report number, place; no names.

    Raises WrongState (reported already, retired), FieldInvalid (day), StaleVersion.
    """
    trike = lock_version(Trike, trike_id, version)
    if trike.state == Trike.State.RETIRED:
        raise WrongState(f"Trike {trike} is retired.", field="id", remedy="Look where its parts are now.")
    if trike.stolen_on is not None:
        raise WrongState(
            f"Trike {trike} is reported stolen since {trike.stolen_on:%d %b %Y} already.", field="id",
            remedy="Record that it was found again, or leave it as it is.",
        )  # fmt: skip
    _refuse_future(on, now)
    if trike.delivered_on is not None and on < trike.delivered_on:
        raise FieldInvalid(
            f"It was delivered on {trike.delivered_on:%d %b %Y}.", field="on", remedy="Use that day or a later one."
        )
    _mark(trike, on, clean_text(note, 200))
    drop_visit(trike.pk, now)
    drop_reminders(trike.pk, "The trike is reported stolen.")
    body = {"on": on.isoformat(), "note": trike.stolen_note}
    write_logs([draft_of(trike.pk, "stolen", now, by, source, body)], now)
    return trike


@action
def found_again(
    *, trike_id: int, on: date, note: str = "", version: int | None = None, by: User | None = None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Take the mark off a stolen trike; the next sweep proposes a visit again. Raises WrongState, FieldInvalid."""
    trike = lock_version(Trike, trike_id, version)
    if trike.stolen_on is None:
        raise WrongState(f"Trike {trike} is not reported stolen.", field="id", remedy="There is nothing to do.")
    _refuse_future(on, now)
    if on < trike.stolen_on:
        raise FieldInvalid(
            f"It was stolen on {trike.stolen_on:%d %b %Y}.", field="on", remedy="Use that day or a later one."
        )
    body = {"on": on.isoformat(), "stolen_on": trike.stolen_on.isoformat(), "note": clean_text(note, 200)}
    _mark(trike, None, "")
    write_logs([draft_of(trike.pk, "found_again", now, by, source, body)], now)
    return trike


def _refuse_future(on: date, now: datetime) -> None:
    if on > local_date(now):
        raise FieldInvalid("The day lies in the future.", field="on", remedy="Check the date.")


def _mark(trike: Trike, on: date | None, note: str) -> None:
    trike.stolen_on, trike.stolen_note = on, note
    trike.version += 1
    trike.save(update_fields=["stolen_on", "stolen_note", "version"])
