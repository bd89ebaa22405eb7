"""Steps that every action on a draft card shares: the card locked, its version raised. They open no transaction."""

from tracker.actions.refusals import CardAlreadySigned, Conflict, NotThisTrike, StaleVersion, WrongState
from tracker.actions.steps import component_of_trike, lock_version
from tracker.models import Fitment, JobCard


class ChangedMeanwhile(Conflict):
    """Somebody else wrote into this field since the page was loaded; `facts` has what stands there now."""

    code = "changed-meanwhile"


def is_new(stored: str, value: str, base: str, field: str) -> bool:
    """Return whether `value` is to be written; not where it stands there already, nor where the page did not change it.

    Raises ChangedMeanwhile.
    """
    if value in (stored, base):
        return False
    if stored != base:
        raise ChangedMeanwhile(
            f"Somebody else wrote here meanwhile: {stored or 'nothing'}.", field=field,
            remedy="Keep yours or take theirs.", theirs=stored,
        )  # fmt: skip
    return True


def draft_card(card_id: int, version: int | None = None) -> JobCard:
    """Return the draft locked. Raises CardAlreadySigned, WrongState (cancelled), StaleVersion where `version` is not its own."""
    card = lock_version(JobCard, card_id, None)
    if card.state == JobCard.State.SIGNED:
        raise CardAlreadySigned(
            f"Job card {card} was signed by {card.signed_by} on {card.signed_at:%d %b %Y %H:%M}.", field="card",
            remedy="Write an amendment.",
        )  # fmt: skip
    if card.state == JobCard.State.CANCELLED:
        raise WrongState(f"Job card {card} was cancelled.", field="card", remedy="Open a new card.")
    if version is not None and card.version != version:
        raise StaleVersion(
            "Somebody else changed this card in the meantime.", field="version",
            remedy="Look at what changed, then send your change again.",
        )  # fmt: skip
    return card


def touch(card: JobCard, *fields: str) -> JobCard:
    """Write these fields of the card and raise its version."""
    card.version += 1
    card.save(update_fields=[*fields, "version"])
    return card


def fitted_here(card: JobCard, component_id: int) -> Fitment:
    """Return the fitment of a component on the trike of the card. Raises NotThisTrike."""
    fitment = component_of_trike(component_id, card.trike_id)
    if fitment is None:
        raise NotThisTrike(
            f"This component does not sit on trike {card.trike}.",
            field="component",
            remedy="Choose one of its components.",
        )
    return fitment
