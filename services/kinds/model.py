"""The shape of a service kind: what is done, what is measured, what a value means, what to beware of."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

LEVELS = ("ok", "watch", "soon", "replace", "stop")


@dataclass(frozen=True)
class Quantity:
    """Something measured: its unit, the plausible range (outside it, a slip), and what is noted beside it.

    The verdict `needs` some of that, and `takes` some into account where it is told. `within` is the limit in words where
    it is the same for every part; where it depends on the part, services/limits.py tells it.
    """

    code: str
    title: str
    unit: str
    low: float
    high: float
    needs: tuple[str, ...] = ()
    instrument: str = ""
    better: str = "band"  # lower, higher or band
    takes: tuple[str, ...] = ()
    within: str = ""

    @property
    def beside(self) -> tuple[str, ...]:
        """Everything that may be noted beside the value, what is needed first."""
        return self.needs + self.takes


@dataclass(frozen=True)
class Task:
    """Something done on a part of kind `on` ('frame' stands for the whole trike).

    `uses`: what is used up, with rated values of the part in braces, as '{oil_ml:g} ml of oil' (common practice, no source).
    """

    code: str
    title: str
    on: str
    minutes: int
    safety: bool = False
    owner_can: bool = False
    includes: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    verb: str = "Last done"
    plain: str = ""
    uses: tuple[str, ...] = ()
    release: bool = False  # wants a test ride and a release check afterwards


@dataclass(frozen=True)
class Verdict:
    """What a value means: a level, a sentence, the value and the limit it was held against.

    ok: fine. watch: noted, look again. soon: order the part, plan the work. replace: at or past its limit, renew it or set
    it right now. stop: do not ride until it is put right. The last two make the task that asks for the value due at once.
    """

    level: str
    words: str
    value: float
    limit: float | None = None


Judge = Callable[[str, float, Mapping[str, Any], Mapping[str, Any]], Verdict]


@dataclass(frozen=True)
class ServiceKind:
    """One kind of service. `cautions` stand beside the task, before the input."""

    code: str
    title: str
    tasks: tuple[Task, ...]
    quantities: tuple[Quantity, ...] = ()
    cautions: tuple[str, ...] = ()
    judge: Judge | None = None
