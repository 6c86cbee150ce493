"""Verdicts: met, not met, not demonstrated; each with its reason and what would decide it.

*met*: the one-sided bound lies on the right side of the limit, inside the tested range.
*not met*: the opposite one-sided bound lies on the wrong side, or an observed-value rule
fails. *not demonstrated*: anything else. Clauses that share an id are judged together: one
not met decides, then one not demonstrated.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from qualify.criteria.estimate import Basis, Estimate, Estimates
from qualify.criteria.rules import Criterion
from qualify.criteria.words import ALL_READERS, NEW_READER, lead, show_value, who

Status = Literal["met", "not met", "not demonstrated", "not judged"]
OTHER_THAN_EACH = {
    "automatic": ["rule"],
    "pooled": [ALL_READERS],
    "new_reader": [NEW_READER],
}
"""Names under which estimates stand that are not of one person."""
TOGETHER_ABSENT = (
    "no such number of readers together: fewer than two readers or two targets, or nothing to "
    "compare with"
)
ORDER: tuple[Status, ...] = ("not met", "not demonstrated", "not judged", "met")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one clause of a criterion, on one basis.

    Attributes
    ----------
    criterion : the criterion's id.
    clause : number of the clause under that id, from 1.
    basis : as found or after remedy.
    status : the verdict.
    governing : the estimate that decided, by id, None where there was none.
    value : the value that was held against the limit.
    reason : one sentence.
    would_decide : one sentence: what would decide it.
    """

    criterion: str
    clause: int
    basis: Basis
    status: Status
    governing: str | None
    value: float | None
    reason: str
    would_decide: str


def judge(
    criteria: Sequence[Criterion],
    estimates: Estimates,
    basis: Basis,
    *,
    unexamined_limit: float,
    readers: Sequence[str],
) -> list[Verdict]:
    """Judge every clause on one basis.

    `readers` are all readers of the trial: `each` and `worst` need a number from every one.
    """
    verdicts, counts = [], {}  # type: list[Verdict], dict[str, int]
    for criterion in criteria:
        counts[criterion.id] = counts.get(criterion.id, 0) + 1
        clause = _judge_clause(criterion, estimates, basis, unexamined_limit, readers)
        verdicts.append(_verdict(criterion, counts[criterion.id], basis, clause))
    return verdicts


def combined(verdicts: Sequence[Verdict], criterion: str, basis: str) -> Status:
    """Return the verdict on a criterion from those on its clauses."""
    statuses = [v.status for v in verdicts if (v.criterion, v.basis) == (criterion, basis)]
    return next(status for status in ORDER if status in statuses)


@dataclass(frozen=True, slots=True)
class _Outcome:
    status: Status
    estimate: Estimate | None
    value: float | None
    reason: str
    would_decide: str


def _verdict(criterion: Criterion, clause: int, basis: Basis, outcome: _Outcome) -> Verdict:
    return Verdict(
        criterion=criterion.id,
        clause=clause,
        basis=basis,
        status=outcome.status,
        governing=outcome.estimate.id if outcome.estimate else None,
        value=outcome.value,
        reason=outcome.reason,
        would_decide=outcome.would_decide,
    )


def _judge_clause(
    criterion: Criterion,
    estimates: Estimates,
    basis: Basis,
    unexamined_limit: float,
    readers: Sequence[str],
) -> _Outcome:
    if not criterion.verified:
        return _Outcome(
            "not judged",
            None,
            None,
            "The clause is marked as not checked against its source.",
            "Reading the clause in the edition in force and entering it as verified.",
        )
    if criterion.rule.per == "study":
        return _observed(criterion, estimates.get(basis, criterion.statistic, "study"))
    names = OTHER_THAN_EACH.get(criterion.reader or "", list(readers))
    outcomes = [_one_reader(criterion, estimates, basis, name, unexamined_limit) for name in names]
    if not outcomes:
        return _no_number(criterion, "nobody read this mode")
    if all(_deciding(criterion, estimates, basis, name) is None for name in names):
        if criterion.reader in ("pooled", "new_reader"):
            return _no_number(criterion, TOGETHER_ABSENT)
        return _no_number(criterion, criterion.rule.absent, would_decide=RUN_IT)
    worst = min(outcomes, key=lambda o: (ORDER.index(o.status), _badness(criterion, o)))
    without = [
        name
        for name, one in zip(names, outcomes, strict=True)
        if (one.status, one.estimate, one.value) == (worst.status, None, None)
    ]
    if worst.value is not None or worst.estimate is not None or len(without) < 2:
        return worst
    return _no_number(criterion, _reasons(criterion, estimates, basis, without), "", NUMBER_WANTED)


def _reasons(
    criterion: Criterion, estimates: Estimates, basis: Basis, readers: Sequence[str]
) -> str:
    """Return why several readers have no number, those of one reason together."""
    held: dict[str, list[str]] = {}
    for reader in readers:
        why = _why(_deciding(criterion, estimates, basis, reader))
        held.setdefault(why, []).append(reader)
    return "; ".join(f"{', '.join(names)}: {why}" for why, names in held.items())


def _deciding(
    criterion: Criterion, estimates: Estimates, basis: Basis, reader: str
) -> Estimate | None:
    """Return the estimate that decides for this reader; None where it was not analysed."""
    name = criterion.rule.observed or criterion.rule.claim_bound or ""
    population, mode = criterion.population or "study", criterion.mode or ""
    return estimates.get(basis, name, population, mode, reader)


def _badness(criterion: Criterion, outcome: _Outcome) -> float:
    """Order outcomes of one status so that the worst reader comes first."""
    if outcome.value is None:
        return -float("inf")
    return -outcome.value if criterion.rule.sense == "at most" else outcome.value


def _one_reader(
    criterion: Criterion,
    estimates: Estimates,
    basis: Basis,
    reader: str,
    unexamined_limit: float,
) -> _Outcome:
    population, mode = criterion.population or "study", criterion.mode or ""
    share = estimates.get(basis, "not_examined_fraction", population, mode, reader)
    if share is not None and share.value is not None and share.value > unexamined_limit:
        return _Outcome(
            "not demonstrated",
            share,
            None,
            f"{who(reader)} did not examine {100 * share.value:.1f} % of the units; the plan "
            f"allows {100 * unexamined_limit:g} %.",
            "Examining the units that were left out.",
        )
    rule = criterion.rule
    deciding = _deciding(criterion, estimates, basis, reader)
    if rule.observed is not None:
        return _observed(criterion, deciding, reader)
    assert rule.counter_bound is not None
    return _bounded(
        criterion,
        deciding,
        estimates.get(basis, rule.counter_bound, population, mode, reader),
        reader,
    )


def _observed(criterion: Criterion, estimate: Estimate | None, reader: str = "") -> _Outcome:
    if estimate is None or estimate.value is None:
        return _no_number(criterion, _why(estimate), reader)
    value = abs(estimate.value) if criterion.rule.magnitude else estimate.value
    right = _right_side(criterion, value)
    words = f"{lead(reader)}{criterion.rule.words}: {show_value(value, criterion.unit)}; "
    words += f"{criterion.rule.sense} {show_value(criterion.limit, criterion.unit)} is asked for."
    return _Outcome(
        "met" if right else "not met",
        estimate,
        value,
        words,
        "Decided by the value observed.",
    )


def _bounded(
    criterion: Criterion, claim: Estimate | None, counter: Estimate | None, reader: str
) -> _Outcome:
    limit = show_value(criterion.limit, criterion.unit)
    if claim is not None and claim.value is not None and _right_side(criterion, claim.value):
        shown = show_value(claim.value, criterion.unit)
        if claim.in_range is False:
            return _Outcome(
                "not demonstrated",
                claim,
                claim.value,
                f"{lead(reader)}{criterion.rule.words} {shown} lies outside the tested sizes.",
                "Targets of sizes around that value.",
            )
        return _Outcome(
            "met",
            claim,
            claim.value,
            f"{lead(reader)}{criterion.rule.words} {shown} is {criterion.rule.sense} {limit}, "
            + ("inside the tested sizes." if claim.in_range else "as required."),
            "Decided by the bound.",
        )
    if counter is not None and counter.value is not None:
        wrong = not _right_side(criterion, counter.value)
        if wrong and counter.in_range is not False:
            return _Outcome(
                "not met",
                counter,
                None if claim is None else claim.value,
                f"{lead(reader)}even the favourable bound "
                f"{show_value(counter.value, criterion.unit)} lies on the wrong side of {limit}.",
                "A better procedure; more targets of the same kind would not help.",
            )
    if claim is None or claim.value is None:
        return _no_number(criterion, _why(claim), reader)
    return _Outcome(
        "not demonstrated",
        claim,
        claim.value,
        f"{lead(reader)}{criterion.rule.words} {show_value(claim.value, criterion.unit)} is not "
        f"{criterion.rule.sense} {limit}; that the limit is missed is not shown either.",
        "More targets near the limit.",
    )


NUMBER_WANTED = "Evidence from which that number can be computed."
RUN_IT = "That analysis, on these targets."


def _no_number(
    criterion: Criterion, why: str, reader: str = "", would_decide: str = NUMBER_WANTED
) -> _Outcome:
    return _Outcome(
        "not demonstrated",
        None,
        None,
        f"{lead(reader)}no value of {criterion.rule.words}: {why}.",
        would_decide,
    )


def _why(estimate: Estimate | None) -> str:
    if estimate is None:
        return "the analysis was not run"
    return (estimate.reason or "the data do not support one").rstrip(".")


def _right_side(criterion: Criterion, value: float) -> bool:
    if criterion.rule.sense == "at most":
        return value <= criterion.limit
    return value >= criterion.limit
