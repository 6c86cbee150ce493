"""Answers to three of the twenty questions, from the checks of the curves of the candidate mode."""

from typing import Literal

from qualify.dossier.checks_models import against_plan
from qualify.dossier.checks_parts import Checked, checked, named
from qualify.dossier.claim_sure import levels_off
from qualify.dossier.words import kind_words, percent, whole
from qualify.pod.lapses import SHOWN
from qualify.pod.model_choice import SCALE_LIMIT
from qualify.pod.notices import FEWEST_TARGETS
from qualify.study.result import StudyResult

Standing = Literal["answered", "partly", "open"]
Answer = tuple[Standing, str]


def _rows(result: StudyResult, kind: str) -> list[Checked]:
    mode = result.inputs.plan.claim.candidate_mode
    return [row for row in checked(result, kind) if row.mode == mode]


def _all(result: StudyResult) -> list[Checked]:
    return [row for p in result.inputs.plan.populations for row in _rows(result, p.kind)]


def enough(result: StudyResult) -> Answer:
    """Say how many targets there are, how many where hits and misses overlap, and what it gives."""
    mode, told, few = result.inputs.plan.claim.candidate_mode, [], 0
    for population in result.inputs.plan.populations:
        rows = _rows(result, population.kind)
        n = max((row.fit.n for row in rows), default=0)
        few += n < FEWEST_TARGETS
        words = f"{whole(n)} {kind_words(population.kind)}"
        if rows:
            between = [_between(row) for row in rows]
            words += f" ({min(between)} to {max(between)} a reader where hits and misses overlap)"
        told.append(words)
    words = f"{', '.join(told)} in mode {mode}; {FEWEST_TARGETS} a kind is a recalled rule."
    words += _simulated(result)
    total = len(told)
    return ("answered" if few == 0 else "partly" if few < total else "open", words)


def _between(row: Checked) -> int:
    """Count the targets from the smallest hit to the largest miss."""
    low, high = row.fit.smallest_hit, row.fit.largest_miss
    if low is None or high is None:
        return 0
    pairs = zip(row.fit.sizes, row.fit.trials_at, strict=True)
    return sum(trials for size, trials in pairs if low <= size <= high)


def _simulated(result: StudyResult) -> str:
    rows = [row for row in _all(result) if "fit" in row.check.holds]
    shares = [s for row in rows if (s := row.value("holds_fit")) is not None]
    if not shares:
        return ""
    mode = result.inputs.plan.claim.candidate_mode
    without = max(row.check.holds["fit"].no_bound for row in rows)
    return (
        f" In simulations of mode {mode} the bound holds in {percent(min(shares))} or more if the "
        f"fitted curve is true; at most {percent(without)} of the trials simulated from it give no "
        "bound."
    )


def model(result: StudyResult) -> Answer:
    """Say whether other models give another a90/95, and whether the data doubt the plan's."""
    rows = _all(result)
    if not rows:
        return ("open", "No curve was checked.")
    against = [row for row, *_ in against_plan(rows)]
    without = [row for row in rows if row.check.models.a90_95.largest is None]
    ratios = [r for row in rows if (r := row.check.models.a90_95.ratio) is not None]
    scales = [d for row in rows if (d := row.check.models.scale_difference) is not None]
    parts = ["Eight models were fitted; that of the plan stands."]
    if ratios:
        parts.append(f"Near-equal ones spread a90/95 by a factor of up to {max(ratios):.2f}.")
    if scales:
        parts.append(f"Log and linear size lie up to {percent(max(scales))} apart.")
    if without:
        parts.append(f"Without a largest a90/95: {_of(without)}.")
    if against:
        parts.append(f"The data speak against the model of the plan for {_of(against)}.")
        return ("open", " ".join(parts))
    near = bool(ratios) and not without and max(ratios) <= 1.0 + SCALE_LIMIT
    return ("answered" if near else "partly", " ".join(parts))


def _of(rows: list[Checked]) -> str:
    kinds = dict.fromkeys(row.kind for row in rows)
    return "; ".join(
        f"{kind_words(kind)} {named([row for row in rows if row.kind == kind])}" for kind in kinds
    )


def levels(result: StudyResult) -> Answer:
    """Say whether detection levels off, from the curve with a plateau and the large targets."""
    mode = result.inputs.plan.claim.candidate_mode
    speaks, question, total, excluded = [], [], 0, 0
    for population in result.inputs.plan.populations:
        for one in levels_off(result, population.kind, mode):
            name = f"{kind_words(population.kind)} {one.reader} (at {percent(one.top)})"
            if one.speaks:
                speaks.append(name)
            elif one.a90 is None:
                question.append(name)
    for row in _all(result):
        total += 1
        excluded += (row.value("plateau_lower") or 0.0) > SHOWN
    if not total:
        return ("open", "No curve was checked.")
    told = f"A plateau at or below {SHOWN:.2f} is excluded for {excluded} of {total} curves."
    if speaks:
        return ("open", f"The data speak for it: {', '.join(speaks)}. {told}")
    if question:
        return ("open", f"Not excluded, and the better curve: {', '.join(question)}. {told}")
    if excluded == total:
        return ("answered", f"No sign that it does. {told}")
    return ("partly", f"No test speaks for it; curves that hardly rise can't be tested. {told}")
