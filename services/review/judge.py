"""All part types of a review beside each other: what is more than chance, in which order, and what to do about it.

Every comparison of the review goes through one Benjamini-Hochberg step: batches, firmware, makers, years, models, riding, part
types against their sisters, and whether age matters. The order is that of the evidence, never of counts or rates.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from services.life_data import groups, ladder, warning, weibull_words
from services.life_data.few_failures import weibayes
from services.life_data.replacement_age import Proposal, optimum, propose_interval
from services.review import found as words_of
from services.review.apart import apart
from services.review.compare import compared, pieces_of
from services.review.found import Comparison, EarlyWarning, Finding, Rate, Reason, Study
from services.review.observed import PartLives
from services.review.words import failed_word, group_words, others_words

SURE = 0.05  # share of false ones among what is called proven
MAYBE = 0.10  # below it: watch, not proven
STOP_Q, STOP_RATIO = 0.01, 2.0  # a group is no longer fitted: this sure, and at least this many times the rate
FALSE_ALARMS_A_YEAR = 1.0  # of the early warning over everything it watches
PLANNED, FAILURE = 1.0, 5.0  # cost of a planned change and of a failure, as one to five (assumption, no source)
_TRACED = ("batch", "firmware")  # groups one can stop fitting
_FIRST = ("batch", "firmware", "maker", "part_type", "wear-out", "made_year", "model", "severity", "warning")


@dataclass(frozen=True)
class Judged:
    """A part type with its study made whole (sisters, q, shrunk rates, early warning) and its finding."""

    part: PartLives
    study: Study
    finding: Finding


@dataclass(frozen=True)
class Review:
    """All part types in the order of evidence, how many comparisons were made, false early warnings a year."""

    judged: list[Judged]
    comparisons: int
    false_alarms_a_year: float


def judge(parts: Sequence[PartLives], studies: Sequence[Study]) -> Review:
    """Return the review of part types, each in one metric, with their studies in the same order."""
    beside = _sisters(parts)
    rates = _shrunk(parts, studies)
    whole = [
        replace(study, comparisons=[*study.comparisons, *beside.get(at, [])], rate=rates.get(at, study.rate))
        for at, study in enumerate(studies)
    ]
    whole = _with_borrowed(parts, whole)
    whole, tested, wear_q = _with_q(parts, whole)
    whole = [apart(part, study, SURE) for part, study in zip(parts, whole, strict=True)]
    whole, false_alarms = _watched(whole)
    found = [_finding(part, study, wear_q.get(at)) for at, (part, study) in enumerate(zip(parts, whole, strict=True))]
    watched = sum(study.warning is not None for study in whole)
    order = sorted(range(len(parts)), key=lambda at: _place(parts[at], whole[at], found[at], watched))
    judged = [
        Judged(parts[at], whole[at], replace(found[at], rank=rank)) for rank, at in enumerate(order, start=1)
    ]  # fmt: skip
    return Review(judged, tested, false_alarms)


def _sisters(parts: Sequence[PartLives]) -> dict[int, list[Comparison]]:
    """Each part type against the others of its kind, and makers with several part types against other makers."""
    answer: dict[int, list[Comparison]] = defaultdict(list)
    for rows in _kinds(parts).values():
        own = [parts[at] for at in rows]
        if len(own) < 2:
            continue
        pieces = pieces_of(own)
        sizes = [len(part.component) for part in own]
        names = np.repeat([str(part.part_type) for part in own], sizes)
        at_name = {str(parts[at].part_type): at for at in rows}
        for made in compared(pieces, "part_type", names):
            at = at_name[made.group]
            answer[at].append(replace(made, group=parts[at].name))
        for made in compared(pieces, "maker", np.repeat([part.maker for part in own], sizes)):
            several = [at for at in rows if parts[at].maker == made.group]
            if len(several) > 1 and len(several) < len(rows):
                answer[max(several, key=lambda at: int(parts[at].failed.sum()))].append(made)
    return answer


def _kinds(parts: Sequence[PartLives]) -> dict[tuple[str, str], list[int]]:
    answer: dict[tuple[str, str], list[int]] = defaultdict(list)
    for at, part in enumerate(parts):
        answer[part.kind, part.metric].append(at)
    return answer


def _shrunk(parts: Sequence[PartLives], studies: Sequence[Study]) -> dict[int, Rate]:
    """Rates drawn to what the part types of a kind have in common."""
    answer = {}
    for rows in _kinds(parts).values():
        ran = [at for at in rows if studies[at].counts.exposure > 0]
        if not ran:
            continue
        counts = [studies[at].counts for at in ran]
        drawn = groups.shrunk_rates([c.failed for c in counts], [c.exposure for c in counts], confidence=0.90)
        usual = sum(c.failed for c in counts) / sum(c.exposure for c in counts) if len(ran) > 1 else None
        for row, at in enumerate(ran):
            answer[at] = replace(
                studies[at].rate, shrunk=float(drawn.rate[row]), shrunk_low=float(drawn.low[row]),
                shrunk_high=float(drawn.high[row]), usual=usual,
            )  # fmt: skip
    return answer


def _with_borrowed(parts: Sequence[PartLives], studies: list[Study]) -> list[Study]:
    """Below five failures the one bound of a life there is: with the shape of a sister, from its low side (too high a shape
    makes the limit too long)."""
    whole = list(studies)
    for rows in _kinds(parts).values():
        shapes = [studies[at].life.shape_low for at in rows if studies[at].life.shape_low]
        for at in rows if shapes else []:
            lives = parts[at].lives()
            if lives.parts and lives.failures < weibull_words.FEWEST:
                shape = float(min(shapes))
                bound = weibayes(lives, shape).b_life_low()
                whole[at] = replace(studies[at], life=replace(studies[at].life, borrowed=shape, low_b10=bound))
    return whole


def _with_q(parts: Sequence[PartLives], studies: list[Study]) -> tuple[list[Study], int, dict[int, float]]:
    """The studies with a q for each comparison, how many tests there were, and the q of wear-out by part type."""
    made = [(at, row) for at, study in enumerate(studies) for row in range(len(study.comparisons))]
    wears = [at for at, study in enumerate(studies) if study.life.wear_out_p is not None]
    p = [studies[at].comparisons[row].p for at, row in made] + [studies[at].life.wear_out_p or 0.0 for at in wears]
    if not p:
        return studies, 0, {}
    q = groups.false_discoveries(np.clip(p, 0.0, 1.0))
    told: dict[int, list[Comparison]] = defaultdict(list)
    for (at, row), share in zip(made, q, strict=False):
        told[at].append(_said(parts[at], replace(studies[at].comparisons[row], q=float(share))))
    whole = [replace(study, comparisons=told.get(at, [])) for at, study in enumerate(studies)]
    return whole, len(p), {at: float(share) for at, share in zip(wears, q[len(made) :], strict=True)}


def _said(part: PartLives, made: Comparison) -> Comparison:
    """The comparison with its sentence."""
    counted = ladder.Finding(
        made.failed, made.fitted, made.rest_failed, made.rest_fitted,
        made.ratio if made.ratio is not None else np.inf, made.q or 0.0,
    )  # fmt: skip
    group = group_words(made.dimension, made.group, part.kind)
    told = ladder.group_sentence(counted, group, others_words(made.dimension), failed_word(made.mode), SURE, MAYBE)
    return replace(made, sentence=told)


def _watched(studies: list[Study]) -> tuple[list[Study], float]:
    """The studies with the early warning judged over all of them, and how many false ones a year that gives."""
    rows = [at for at, study in enumerate(studies) if study.warning is not None]
    if not rows:
        return studies, 0.0
    months: list[EarlyWarning] = [study.warning for study in studies if study.warning is not None]
    watch = warning.watch_month(
        [month.seen for month in months], [month.expected for month in months], [month.spread for month in months],
        FALSE_ALARMS_A_YEAR,
    )  # fmt: skip
    whole = list(studies)
    for row, at in enumerate(rows):
        judged = replace(
            months[row], chance=float(watch.chance[row]), alarm_from=int(watch.alarm_from[row]),
            alarmed=bool(watch.alarmed[row]),
        )  # fmt: skip
        whole[at] = replace(studies[at], warning=judged)
    return whole, watch.false_alarms_a_year


def _finding(part: PartLives, study: Study, wear_q: float | None) -> Finding:
    """What is to be said and done about one part type; its rank follows when all are known."""
    wears = wear_q is not None and wear_q <= SURE and not study.life.mixed
    proposal = proposal_of(study, part.metric) if wears else Proposal(None, study.life.mixed)
    reasons = [_of_group(made) for made in study.comparisons if made.is_worse and (made.q or 0.0) <= MAYBE]
    if wears and study.life.wear_out_p is not None:
        reasons.append(Reason("wear-out", "", study.life.wear_out_p, wear_q, _wear_words(study, proposal)))
    if study.warning is not None and study.warning.alarmed:
        told = ladder.warning_sentence(part.name, study.warning.seen, study.warning.expected, FALSE_ALARMS_A_YEAR)
        reasons.append(Reason("warning", study.warning.batch, study.warning.chance or 0.0, None, told))
    reasons.sort(key=lambda reason: (reason.p, _FIRST.index(reason.kind)))
    action, asks = _action(study, reasons, proposal)
    tested = [made for made in study.comparisons if made.is_worse]
    q = min([made.q for made in tested if made.q is not None] + ([wear_q] if wear_q is not None else []), default=None)
    p = min([made.p for made in tested] + [reason.p for reason in reasons], default=None)
    return Finding(
        rank=0, action=action, verdict=_verdict(study, reasons), q=q, p=p, reasons=reasons,
        replace_at=proposal.interval if action == words_of.REPLACE else None, do=_do(part, asks, action, proposal),
    )  # fmt: skip


def _of_group(made: Comparison) -> Reason:
    told = made.sentence
    if not _is_more_than_one_machine(made):
        told += f" {made.most_on_one} of its failures lie on one trike and the rest is no more than chance: look there first."
    elif made.most_on_one > 1:
        told += f" They lie on {made.machines} trikes, at most {made.most_on_one} on one."
    return Reason(made.dimension, made.group, made.p, made.q, told)


def _is_more_than_one_machine(made: Comparison) -> bool:
    """Whether the group is still worse without the trike that has most of its failures."""
    return made.p_without is None or made.p_without <= SURE


def _wear_words(study: Study, proposal: Proposal) -> str:
    return f"{study.life.sentence} {proposal.words}"


def proposal_of(study: Study, unit: str) -> Proposal:
    """Return the age at which replacing pays, by the costs assumed here, or that none does."""
    life = study.life
    if life.shape is None or life.life is None or life.shape_low is None:
        return Proposal(None, "")
    best = optimum(life.shape, life.life, PLANNED, FAILURE, life.covariance)
    return propose_interval(best, life.shape_low, unit)


def _action(study: Study, reasons: list[Reason], proposal: Proposal) -> tuple[str, Reason | None]:
    """The most urgent thing that any reason asks for, and the strongest reason that asks for it."""
    by_group = {(made.dimension, made.group): made for made in study.comparisons}
    urgency = list(words_of.ACTIONS).index
    best, asks = words_of.NONE, None
    for reason in reasons:
        made = by_group.get((reason.kind, reason.group))
        if made is not None:
            asked = _for_group(made)
        elif reason.kind == "wear-out":
            asked = words_of.REPLACE if proposal.interval is not None else words_of.NONE
        else:
            asked = words_of.WATCH
        if urgency(asked) > urgency(best):
            best, asks = asked, reason
    return best, asks


def _for_group(made: Comparison) -> str:
    q = made.q if made.q is not None else 1.0
    if q > SURE or not _is_more_than_one_machine(made):
        return words_of.WATCH
    if q <= STOP_Q and made.ratio_low >= STOP_RATIO and made.dimension in _TRACED:
        return words_of.STOP
    return words_of.INSPECT


def _verdict(study: Study, reasons: list[Reason]) -> str:
    """One plain sentence: the strongest reason, else the rate and what the failures allow to say."""
    if reasons:
        return reasons[0].sentence
    if not study.counts.failed:
        return study.rate.sentence
    if study.life.pattern in (weibull_words.EARLY, weibull_words.WEAR_OUT):
        return f"{study.rate.sentence} {study.life.pattern_words} Among all part types looked at chance alone would show that."
    return f"{study.rate.sentence} {study.life.sentence}"


def _do(part: PartLives, asks: Reason | None, action: str, proposal: Proposal) -> str:
    """What to do, in a sentence; '' where nothing is."""
    if asks is None:
        return ""
    if action == words_of.REPLACE:
        return proposal.words
    what = part.name if asks.kind in {"wear-out", "warning"} else group_words(asks.kind, asks.group, part.kind)
    return {
        words_of.WATCH: f"Watch {what}: not proven yet.",
        words_of.INSPECT: f"Inspect {what} at the next service.",
        words_of.STOP: f"Stop fitting {what}, and inspect what is out at once.",
    }[action]


def _place(part: PartLives, study: Study, found: Finding, watched: int) -> tuple[float, float, float, str, int]:
    """Where it stands: by what allows for all comparisons, then by chance alone, then by what is ahead."""
    alarm = study.warning.chance if study.warning is not None and study.warning.alarmed else None
    alarmed = None if alarm is None else min(alarm * watched, 1.0)
    q = min([share for share in (found.q, alarmed) if share is not None], default=2.0)
    ahead = study.ahead.expected if study.ahead is not None else 0.0
    return q, 2.0 if found.p is None else found.p, -ahead, part.name, part.part_type
