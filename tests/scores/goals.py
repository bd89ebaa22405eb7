"""A table of figures beside their goals: one line each, and whether any goal was missed."""

from dataclasses import dataclass, field


@dataclass
class Goals:
    """Figures judged as they come; `main` of a score prints them and returns 1 when one was missed."""

    title: str
    missed: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        print(f"\n{self.title}\n{'figure':<58}{'goal':>16}{'measured':>12}")

    def at_most(self, figure: str, measured: float, goal: float, digits: int = 1) -> None:
        """A figure that must not be larger than its goal."""
        self._line(figure, f"<= {goal:g}", measured, digits, measured <= goal)

    def at_least(self, figure: str, measured: float, goal: float, digits: int = 2) -> None:
        """A figure that must not be smaller than its goal."""
        self._line(figure, f">= {goal:g}", measured, digits, measured >= goal)

    def within(self, figure: str, measured: float, low: float, high: float, count: int | None = None) -> None:
        """A share between two goals; with a `count` below 300, twice the binomial error at .8 is granted and said."""
        slack = 0.0
        if count is not None and count < 300:
            slack = 2.0 * (0.16 / max(count, 1)) ** 0.5
            figure = f"{figure} ({count} machines: +-{slack:.3f})"
        self._line(figure, f"{low:.2f}-{high:.2f}", measured, 3, low - slack <= measured <= high + slack)

    def say(self, line: str) -> None:
        """A line without a goal."""
        print(line)

    def ended(self) -> int:
        """0, or 1 when a goal was missed."""
        print("every goal reached" if not self.missed else f"missed: {'; '.join(self.missed)}")
        return int(bool(self.missed))

    def _line(self, figure: str, goal: str, measured: float, digits: int, is_met: bool) -> None:
        print(f"{figure:<58}{goal:>16}{measured:>12.{digits}f}{'' if is_met else '  MISSED'}", flush=True)
        if not is_met:
            self.missed.append(figure)
