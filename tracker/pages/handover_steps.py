"""The steps of a handover as the bar at the top shows them: what is done, where one stands, what comes."""

from dataclasses import dataclass

from django.urls import reverse

from tracker.models import Handover, Owner, Trike

STEPS = (
    ("frame", "Frame"),
    ("parts", "Parts"),
    ("owner", "Owner"),
    ("final", "Set-up and final check"),
    ("second", "Second signature"),
    ("papers", "Label and papers"),
)
ORDER = [code for code, _ in STEPS]


@dataclass(frozen=True)
class Step:
    """One step; `address` is empty where it cannot be gone to yet, or any more."""

    number: int
    title: str
    state: str  # done, here, later
    address: str


def steps_of(trike: Trike | None, here: str, owner: Owner | None = None) -> list[Step]:
    """Return the steps of a trike's handover, seen from step `here`."""
    handover = Handover.objects.filter(trike=trike).only("pk", "second_signed_at").first() if trike else None
    reached = _reached(handover, here)
    addresses = _addresses(trike, handover, owner)
    return [
        Step(
            number, title, "here" if code == here else "done" if ORDER.index(code) < reached else "later",
            "" if code == here else addresses.get(code, ""),
        )
        for number, (code, title) in enumerate(STEPS, start=1)
    ]  # fmt: skip


def _reached(handover: Handover | None, here: str) -> int:
    if handover is None:
        return ORDER.index(here)
    return ORDER.index("second" if handover.second_signed_at is None else "papers")


def _addresses(trike: Trike | None, handover: Handover | None, owner: Owner | None) -> dict[str, str]:
    """Where each step can be gone to: before the builder signed any of the first ones, after that only the record."""
    if trike is None:
        return {}
    if handover is not None:
        record = reverse("handover", args=[handover.pk])
        return {"second": record} | ({"papers": record} if handover.second_signed_at else {})
    found = {"parts": reverse("handover-parts", args=[trike.pk]), "owner": reverse("handover-owner", args=[trike.pk])}
    if owner is not None:
        found["owner"] += f"?owner={owner.pk}"
        found["final"] = f"{reverse('handover-final', args=[trike.pk])}?owner={owner.pk}"
    return found
