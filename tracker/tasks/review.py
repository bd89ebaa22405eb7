"""The failure review, every night and whenever a reviewer asks: reckoned here, never while a page waits."""

import structlog
from celery import shared_task
from django.utils import timezone

from tracker.actions.review import ask_for_review, begin_review, give_up_review, keep_review
from tracker.queries.review_reckoning import reckon

log = structlog.get_logger(__name__)


@shared_task(name="tracker.nightly_review")
def nightly_review() -> int:
    """Ask for a review and work what waits; return how many were reckoned."""
    ask_for_review(now=timezone.now())
    return work_reviews()


@shared_task(name="tracker.work_reviews")
def work_reviews() -> int:
    """Reckon the review that waits, if one does; return how many were. One that fails is marked so and stays findable."""
    run = begin_review(now=timezone.now())
    if run is None:
        return 0
    try:
        kept = keep_review(run_id=run.pk, reckoned=reckon(timezone.now()), now=timezone.now())
    except Exception:
        log.exception("review failed", run=run.pk)
        give_up_review(run_id=run.pk, note="It broke off: the log says why.", now=timezone.now())
        return 0
    if kept is not None:
        log.info("review reckoned", run=kept.pk, part_types=kept.part_types, anew=kept.reckoned)
    return int(kept is not None)
