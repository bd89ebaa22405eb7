"""What the record holds of one part type in one metric, as plain arrays: the lives of its serials, and repairs by position.

The life of a serial ends with its first failure; all failures count in the repairs of a position on a trike. Preventive
replacement, removal for another reason and the end of the review are survivals.
"""

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from services.life_data.lives import Array, Lives, has_been_watched, observed

MONTHS = 12  # full months looked back at one by one
DIMENSIONS = ("batch", "firmware", "made_year", "model", "severity")  # group columns of pieces of one part type


@dataclass(frozen=True)
class Streams:
    """Positions on trikes and their repairs, by the trike's own age: start, end (m,) of each window; of repair k its window
    `machine` (k,) and age (k,). Empty where the metric has no clock of the trike.
    """

    start: Array
    end: Array
    machine: Array
    age: Array


@dataclass(frozen=True)
class PartLives:
    """n pieces of one part type in one metric (km, days, hours, cycles), all ages in its unit.

    component (n,) ids, rising. known (n,): false where nobody knows the age; ages are then counted from the entry. entry,
    end (n,): watched from and until (first failure, removal or end of the review). failed (n,). last_good (n,): last look
    that found it good, NaN where the age at failure is exact. mode (n,): code of services.failures, '' for survivors.
    month (n,): months back in which it failed, 0 the last full one, -1 not at all; running: failures since. repairs (n,): all
    its failures; accidents (n,): damage by accident, which is none. machine (n,): trike at the end. fitted (n,): still in the
    field. age (n,): when last seen, failed or not.
    at_month (n, 13): age at the bounds of the last 12 months, cut to the watch; ahead (n,): what it runs in the next 12
    months. groups: dimension -> (n,) labels, '' where unknown.
    """

    part_type: int
    kind: str
    maker: str
    name: str
    metric: str
    component: Array
    known: Array
    entry: Array
    end: Array
    failed: Array
    last_good: Array
    mode: Array
    month: Array
    running: int
    repairs: Array
    accidents: Array
    machine: Array
    fitted: Array
    age: Array
    at_month: Array
    ahead: Array
    groups: dict[str, Array]
    streams: Streams

    @property
    def run(self) -> Array:
        """(n,) what each ran under watch."""
        return self.end - self.entry

    @cached_property
    def middle(self) -> Array:
        """(n,) the end, put half-way for what failed between two looks: for sums over ages, not for fits."""
        return np.where(np.isnan(self.last_good), self.end, 0.5 * (self.end + self.last_good))

    def only(self, rows: Array) -> "PartLives":
        """Return the lives of some pieces (n, bool), for a question about them; the repairs by position stay whole."""
        columns = {
            one.name: getattr(self, one.name)[rows]
            for one in fields(self) if isinstance(getattr(self, one.name), np.ndarray)
        }  # fmt: skip
        return replace(self, groups={name: labels[rows] for name, labels in self.groups.items()}, **columns)

    def lives(self, rows: Array | None = None, mode: str | None = None) -> Lives:
        """Return the lives of known age, of some rows (n, bool), asked about one mode: other failures are then survivals."""
        kept = self.known & has_been_watched(self.end, self.entry)
        kept = kept if rows is None else kept & rows
        failed = self.failed[kept] if mode is None else self.failed[kept] & (self.mode[kept] == mode)
        other = self.failed[kept] & ~failed
        looked = self.last_good[kept]
        between_other = other & ~np.isnan(looked)  # known good for this mode only at the look before
        end = np.where(between_other, looked, self.end[kept])
        seen = has_been_watched(end, self.entry[kept])
        return observed(end[seen], failed[seen], entry=self.entry[kept][seen], last_good=looked[seen])


def halved(lives: Lives) -> Lives:
    """Return the lives with failures between two looks put half-way: for a curve to look at."""
    middle = np.where(lives.between, 0.5 * (lives.lower + lives.seen_until), lives.lower)
    return Lives(lives.entry, middle, np.where(lives.survived, np.inf, middle), lives.count, lives.mode)
