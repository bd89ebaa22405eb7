"""A trike is taken apart for good: every part leaves with its life, the frame goes, the record is closed.

The only way a trike becomes `retired`. There is no undo: where the frame was kept and a trike is built on it again, its
record is opened again by registering that frame (tracker/actions/trikes.py).
"""

from collections.abc import Mapping
from datetime import datetime

from services.identity import clean_text
from services.positions import POSITIONS
from tracker.actions.bulletin_steps import follow_bulletins
from tracker.actions.fitments import take_out
from tracker.actions.link_steps import revoke_links_of
from tracker.actions.refusals import FieldInvalid, NotEnough, RemovedBeforeFitted, WrongState
from tracker.actions.steps import LogDraft, draft_of, lock_version, refresh_due, serial_words, write_logs
from tracker.actions.transactions import action
from tracker.actions.visit_steps import drop_reminders, drop_visit
from tracker.models import Component, Fitment, Handover, JobCard, Trike, User
from tracker.queries.clock import local_date

PART_FATES = (
    Component.State.IN_STOCK, Component.State.SCRAPPED, Component.State.QUARANTINED, Component.State.RETURNED,
)  # fmt: skip
FRAME_FATES = (Component.State.SCRAPPED, Component.State.IN_STOCK)  # scrapped, or kept


@action
def retire_trike(
    *, trike_id: int, reason: str, fates: Mapping[int, str], at: datetime, version: int | None = None,
    by: User | None = None, now: datetime, source: str = "desk",
) -> Trike:  # fmt: skip
    """Retire a trike: all its parts leave it at `at`, each to where `fates` (component id -> state) says.

    Raises WrongState (retired already, job card open, handover half signed), NotEnough (a part without a fate, no
    reason), FieldInvalid (a fate that is none, a part that is not on the trike, the future), RemovedBeforeFitted,
    StaleVersion.
    """
    trike = lock_version(Trike, trike_id, version)
    _check_can_retire(trike)
    why = clean_text(reason, 200)
    if not why.strip():
        raise NotEnough("The reason is missing.", field="reason", remedy="Say why it is retired.")
    if at > now:
        raise FieldInvalid("The moment lies in the future.", field="at", remedy="Use the time it was done.")
    fitted = list(
        Fitment.objects.current().select_for_update(of=("self",)).filter(trike=trike)
        .select_related("component__part_type").order_by("position", "pk")
    )  # fmt: skip
    _check_fates(fitted, fates)
    drafts = [_taken_off(fitment, at, why, fates[fitment.component_id], by, source) for fitment in fitted]
    trike.state, trike.retired_on, trike.retired_reason = Trike.State.RETIRED, local_date(at), why
    trike.version += 1
    trike.save(update_fields=["state", "retired_on", "retired_reason", "version"])
    body = {"on": trike.retired_on.isoformat(), "reason": why, "parts": len(fitted)}
    write_logs([*drafts, draft_of(trike.pk, "retired", at, by, source, body)], now)
    drop_visit(trike.pk, now)
    drop_reminders(trike.pk, "The trike is retired.")
    revoke_links_of(trike.pk, now)
    follow_bulletins(fates, now, by)
    refresh_due([trike.pk], now)
    return trike


def _check_can_retire(trike: Trike) -> None:
    if trike.state == Trike.State.RETIRED:
        raise WrongState(f"Trike {trike} is retired already.", field="id", remedy="Look where its parts are now.")
    card = JobCard.objects.filter(trike=trike, state=JobCard.State.DRAFT).first()
    if card is not None:
        raise WrongState(
            f"Job card {card.number} of this trike is still open.", field="id", remedy="Sign or cancel it first."
        )
    if Handover.objects.filter(trike=trike, second_signed_at__isnull=True).exists():
        raise WrongState(
            "Its handover waits for the second signature.", field="id", remedy="Sign it first, then retire the trike."
        )


def _check_fates(fitted: list[Fitment], fates: Mapping[int, str]) -> None:
    """Every part has a fate that its kind can have, and no other part has one: the page may be an old one."""
    known = {fitment.component_id for fitment in fitted}
    if strangers := set(fates) - known:
        names = ", ".join(str(part) for part in Component.objects.filter(pk__in=strangers)) or "Some part"
        raise FieldInvalid(f"{names} does not sit on this trike.", field="fates", remedy="Look again what it carries.")
    for fitment in fitted:
        place, fate = POSITIONS[fitment.position].title, fates.get(fitment.component_id)
        if fate is None:
            raise NotEnough(
                f"Where does {serial_words(fitment.component)} ({place}) go?", field="fates",
                remedy="Say it for every part.", component=fitment.component_id,
            )  # fmt: skip
        allowed = FRAME_FATES if fitment.position == "frame" else PART_FATES
        if fate not in allowed:
            raise FieldInvalid(
                f"'{fate}' is no place for {serial_words(fitment.component)} ({place}).", field="fates",
                remedy=f"Choose {' or '.join(allowed)}.", component=fitment.component_id,
            )  # fmt: skip


def _taken_off(fitment: Fitment, at: datetime, why: str, fate: str, by: User | None, source: str) -> LogDraft:
    """End one fitment as any removal ends; return its entry in the logbook."""
    part = fitment.component
    if at <= fitment.fitted_at:
        raise RemovedBeforeFitted(
            f"{serial_words(part)} was fitted on {fitment.fitted_at:%d %b %Y %H:%M}.", field="at",
            remedy="Use a later moment.",
        )  # fmt: skip
    take_out(fitment, at, why, fate)
    body = {"serial": serial_words(part), "position": fitment.position, "part": part.part_type.part_number,
            "fate": fate, "reason": why}  # fmt: skip
    return draft_of(fitment.trike_id, "removed", at, by, source, body, part.pk)
