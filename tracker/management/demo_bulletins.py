"""Two bulletins of the demo workshop, through the actions as any other: one nearly done, one about a hazard just released."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from tracker.actions.bulletins import move_part, release_bulletin, write_bulletin
from tracker.management.progress import Bar
from tracker.models import Bulletin, BulletinPart, PartType, User
from tracker.queries.clock import local_date


@dataclass(frozen=True)
class Story:
    """A bulletin and how it went. moves: how many components went on to a state, with the note where one is wanted."""

    part_number: str
    batches: tuple[str, ...]
    days_ago: int  # since its release
    deadline_days: int  # from the day it was written
    says: Mapping[str, Any]
    moves: tuple[tuple[str, int, str], ...] = field(default_factory=tuple)


STORIES = (
    Story(
        "MDL-D2", ("MD2-24A", "MD2-24B"), 150, 200,
        {"title": "Display D2 forgets its distance in the cold", "severity": "recommended", "minutes": 20,
         "hazard": "Below freezing the display can begin at nought again when the battery is taken out.",
         "remedy": "We write a new version of its programme onto the display, free of charge, and keep the distance.",
         "work": "Note the distance, write version D2 3.1, enter the distance again."},
        (("corrected", 21, ""), ("inspected", 3, "Has the new version already."),
         ("refused", 1, "Keeps the old one: never rides in winter.")),
    ),
    Story(
        "SLB-D160", ("SB16-25B",), 0, 45,
        {"title": "Disc brake 160: the pad can come off its plate", "severity": "mandatory", "is_hazard": True, "minutes": 40,
         "hazard": "The glue between the pad and its plate lets go when the brake gets hot. The wheel then brakes no longer.",
         "stop_riding": "Ride no long descents, and test both brakes standing before every ride.",
         "remedy": "We renew the pads of both front brakes, free of charge, while you wait.",
         "work": "Read the batch on the plate. Renew both pads, bed them in, test ride.",
         "texts": {"de": {
             "title": "Scheibenbremse 160: der Belag kann sich von seiner Platte lösen",
             "hazard": "Der Kleber zwischen Belag und Platte gibt nach, wenn die Bremse heiß wird. Dann bremst das Rad nicht.",
             "stop_riding": "Fahren Sie keine langen Abfahrten, und prüfen Sie vor jeder Fahrt im Stand beide Bremsen.",
             "remedy": "Wir erneuern die Beläge beider Vorderradbremsen, kostenlos und während Sie warten.",
         }}},
        (("booked", 3, ""),),
    ),
)  # fmt: skip


def make_bulletins(now: datetime, bar: Bar) -> None:
    """Write, release and work off the bulletins; their days move with today."""
    told = []
    for story in STORIES:
        row = _release(story, now)
        _work_off(row, story, now)
        told.append(f"{row} {row.parts.count()} components")
        bar(len(told), len(STORIES), str(row))
    bar.end(", ".join(told))


def _release(story: Story, now: datetime) -> Bulletin:
    written = now - timedelta(days=story.days_ago + 2)
    values = {
        **story.says, "part_types": list(PartType.objects.filter(part_number=story.part_number).values_list("pk", flat=True)),
        "batches": list(story.batches), "deadline_on": local_date(written) + timedelta(days=story.deadline_days),
    }  # fmt: skip
    row = write_bulletin(values=values, by=User.objects.get(username="reviewer"), now=written)
    out = written + timedelta(days=2)
    return release_bulletin(bulletin_id=row.pk, version=row.version, by=User.objects.get(username="admin"), now=out)


def _work_off(row: Bulletin, story: Story, now: datetime) -> None:
    """Move the components on, one after the other, evenly over the days since the release."""
    mechanic = User.objects.get(username="mechanic")
    ways = [(state, note) for state, many, note in story.moves for _ in range(many)]
    parts = (
        BulletinPart.objects.filter(bulletin=row, component__state="fitted").exclude(state="scrapped").order_by("pk")
    )
    pairs = list(zip(parts, ways, strict=False))
    step = timedelta(days=story.days_ago) / (len(pairs) + 1)
    for place, (part, (state, note)) in enumerate(pairs, start=1):
        at = now - timedelta(days=story.days_ago) + place * step
        move_part(part_id=part.pk, state=state, note=note, by=mechanic, now=at)
