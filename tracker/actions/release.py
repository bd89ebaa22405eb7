"""The release: test ride and checklist, signed before the card can be. Whoever may sign a card may release it."""

from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from services.identity import clean_text
from services.release import Line, work_of
from tracker.actions.card_steps import draft_card, touch
from tracker.actions.refusals import WrongState
from tracker.actions.release_refusals import AlreadyReleased, LineProblem, ReleaseFailed, ReleaseIncomplete
from tracker.actions.transactions import action
from tracker.models import JobCard, ReleaseCheck, User
from tracker.queries.release import WORK, Release, release_of


class LineAnswer(NamedTuple):
    """What somebody found at one line of the checklist; passed None: nothing yet."""

    passed: bool | None
    note: str = ""


@action
def sign_release(
    *, card_id: int, version: int | None, answers: Mapping[str, LineAnswer], by: User, now: datetime
) -> JobCard:
    """Sign the release of a draft: every line that its work demands answered and passed.

    A release signed before the latest work is replaced by the new one. Raises ReleaseIncomplete (lines without an answer, or
    unknown ones), ReleaseFailed (a line did not pass), AlreadyReleased, WrongState (nothing demands it), StaleVersion,
    CardAlreadySigned.
    """
    card = draft_card(card_id, version)
    release = release_of(card)
    _check_wanted(card, release)
    _check_answers(release.lines, answers)
    ReleaseCheck.objects.filter(card=card).delete()
    lines = [(line.code, answers[line.code].note) for line in release.lines]
    lines += [(f"{WORK}{number}", words) for number, words in enumerate(work_of(release.demands), start=1)]
    ReleaseCheck.objects.bulk_create(
        ReleaseCheck(card=card, item=item, passed=True, note=clean_text(note, 200)) for item, note in lines
    )
    card.released_at, card.released_by = now, by
    return touch(card, "released_at", "released_by")


def _check_wanted(card: JobCard, release: Release) -> None:
    if not release.demands:
        raise WrongState("Nothing on this card demands a release.", field="card", remedy="Sign the card itself.")
    if release.is_signed and not release.uncovered:
        raise AlreadyReleased(
            f"{release.by} signed the release on {release.at:%d %b %Y %H:%M} UTC; it covers all of the work.", field="card",
            remedy="Take it back first if something was found since.",
        )  # fmt: skip


def _check_answers(lines: tuple[Line, ...], answers: Mapping[str, LineAnswer]) -> None:
    """What failed is said before what is missing: nobody rides a trike whose brakes did not hold to answer the rest."""
    known = {line.code for line in lines}
    unknown = [LineProblem(code, "not-in-list", "This line is not asked for.") for code in answers if code not in known]
    found = {line.code: answers.get(line.code, LineAnswer(None)).passed for line in lines}
    failed = [code for code, passed in found.items() if passed is False]
    if failed and not unknown:
        message = "This did not pass: put it right and test again, or keep the trike here."
        raise ReleaseFailed(
            f"{len(failed)} of {len(lines)} lines did not pass.",
            remedy="Put it right and test again. Until then the trike is not ridden: keep it here and tell the owner.",
            problems=[LineProblem(code, "not-passed", message) for code in failed],
        )  # fmt: skip
    missing = [
        LineProblem(code, "not-answered", "Say whether this passed.")
        for code, passed in found.items()
        if passed is None
    ]
    if missing or unknown:
        raise ReleaseIncomplete(
            "Every line of the checklist needs its answer.", remedy="See the lines named.", problems=missing + unknown
        )


@action
def take_back_release(*, card_id: int, version: int | None = None, by: User, now: datetime) -> JobCard:
    """Take a signed release back: something was found after all. Raises WrongState, StaleVersion, CardAlreadySigned."""
    card = draft_card(card_id, version)
    if card.released_at is None:
        raise WrongState("No release is signed on this card.", field="card", remedy="There is nothing to take back.")
    ReleaseCheck.objects.filter(card=card).delete()
    card.released_at = card.released_by = None
    return touch(card, "released_at", "released_by")
