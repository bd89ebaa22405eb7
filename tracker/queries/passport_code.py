"""The code of a service passport held against the logbook: which trike it names, and whether what was printed still stands."""

from dataclasses import dataclass
from datetime import datetime

from services.chain_code import ChainHead, read_code
from services.logbook import first_break
from tracker.models import LogEntry, Trike
from tracker.queries.logbook import chain_of


@dataclass(frozen=True)
class CodeAnswer:
    """What the logbook says to a code that was typed as one was printed.

    fits: the trike is here, its chain from 1 to the printed entry is whole, and that entry's hash is the printed one.
    later: entries after it; written_at: when the printed entry was written; why: what does not fit, '' where all does.
    later_break: where the chain does not hold after the printed entry, '' where it does.
    """

    head: ChainHead
    trike: Trike | None = None
    later: int = 0
    written_at: datetime | None = None
    why: str = ""
    later_break: str = ""

    @property
    def fits(self) -> bool:
        """Whether everything up to the printed entry stands as it stood."""
        return not self.why

    @property
    def words(self) -> str:
        """The answer in one or two sentences."""
        name, seq = self.trike or "unknown", self.head.seq
        if not self.fits:
            return f"This does not fit. {self.why}"
        followed = {0: "No entry has followed since.", 1: "One entry has followed since."}
        told = (
            f"This passport belongs to trike {name} and was printed at entry {seq:,}. The chain from entry 1 to {seq:,} is "
            f"whole, and entry {seq:,} has the hash that was printed. "
        )
        return told + followed.get(self.later, f"{self.later:,} entries have followed since.")


def check_code(typed: str) -> CodeAnswer:
    """Return what the logbook says to a code, however it was typed. Two queries.

    Raises services.chain_code.BadCode for what is no code, or a code with a slip.
    """
    head = read_code(typed)
    trike = Trike.objects.filter(pk=head.trike).first()
    if trike is None:
        why = "No trike on record here has the number in this code: it was printed from another record."
        return CodeAnswer(head, why=why)
    chain = list(chain_of(trike.pk))
    told, later = chain[: head.seq], len(chain) - head.seq
    if why := _misfit(trike, head, told):
        return CodeAnswer(head, trike, why=why)
    broken = first_break(chain)
    after = f"Entry {broken.seq}, written after it, does not hold: {broken.why}." if broken else ""
    written = LogEntry.objects.filter(trike=trike, seq=head.seq).values_list("recorded_at", flat=True).first()
    return CodeAnswer(head, trike, later, written, later_break=after)


def _misfit(trike: Trike, head: ChainHead, chain: list) -> str:
    """What does not fit between a code and the chain up to its entry; '' where all does."""
    if broken := first_break(chain):
        return f"The logbook of trike {trike} does not hold: entry {broken.seq}: {broken.why}."
    if len(chain) < head.seq or head.seq == 0:
        return (
            f"It names entry {head.seq:,} of trike {trike}, whose logbook ends at entry {len(chain):,}: entries were "
            "removed since, or an older backup was brought back."
        )
    if not head.fits(chain[-1][3]):
        return (
            f"The logbook of trike {trike} is whole, but its entry {head.seq:,} is not the printed one: the record was "
            "rewritten since, or the passport is not genuine."
        )
    return ""
