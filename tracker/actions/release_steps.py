"""Steps of the signature that concern release and photos. They open no transaction of their own."""

from typing import Any

from tracker.actions.release_refusals import ReleaseMissing
from tracker.models import JobCard, Photo
from tracker.queries.logbook import stamp
from tracker.queries.release import Release, release_of


def check_released(card: JobCard) -> None:
    """Raise ReleaseMissing while the card's work demands a release that is not signed, naming the work."""
    release = release_of(card)
    if not release.is_missing:
        return
    if release.is_signed:
        raise ReleaseMissing(
            f"Work was added after the release was signed: {'; '.join(release.uncovered)}.", field="release",
            remedy=f"Test again and sign the release anew: {_areas(release)}.",
        )  # fmt: skip
    because = "; ".join(dict.fromkeys(words for demand in release.demands for words in demand.because))
    raise ReleaseMissing(
        f"This work demands a release: {because}.", field="release",
        remedy=f"Test ride, answer the release checklist and sign it: {_areas(release)}.",
    )  # fmt: skip


def _areas(release: Release) -> str:
    return ", ".join(demand.area.title.lower() for demand in release.demands)


def sealed_extras(card: JobCard) -> dict[str, Any]:
    """Return what the signed entry says of release and photos, so that the chain covers both; nothing where there is none."""
    return _sealed_release(card) | _sealed_photos(card)


def _sealed_release(card: JobCard) -> dict[str, Any]:
    release = release_of(card)
    if not release.is_signed:
        return {}
    checks = [[answer.line.code, answer.passed, answer.note] for answer in release.answers]
    return {
        "release": {
            "for": list(release.released), "checks": checks, "by": card.released_by_id, "at": stamp(card.released_at),
        }
    }  # fmt: skip


def _sealed_photos(card: JobCard) -> dict[str, Any]:
    photos = [
        {"sha256": sha256, "component": component_id}
        for sha256, component_id in Photo.objects.filter(card=card).order_by("pk").values_list("sha256", "component_id")
    ]
    return {"photos": photos} if photos else {}
