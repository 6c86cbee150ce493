"""Which result the claim box carries, as found or after remedy, and why."""

from collections.abc import Sequence
from typing import Literal

from qualify.criteria.rules import Criterion
from qualify.criteria.verdict import ORDER, Verdict, combined
from qualify.criteria.words import show_value
from qualify.study.deviations import Deviation

Headline = Literal["as_found", "after_remedy"]


def headline_of(
    verdicts: Sequence[Verdict], deviations: Sequence[Deviation], criteria: Sequence[Criterion]
) -> tuple[Headline, str]:
    """Return the basis of the claim box and the sentences that say why.

    A remedy that improves a verdict counts only if an independent person signed it. Figures
    that become worse by the remedies are named too.
    """
    if not deviations:
        return "after_remedy", "No deviation was found; there is one result."
    if not any(d.remedy for d in deviations):
        return "as_found", "No remedy is recorded; results stand as found."
    improved = [
        criterion
        for criterion in dict.fromkeys(v.criterion for v in verdicts)
        if ORDER.index(combined(verdicts, criterion, "after_remedy"))
        > ORDER.index(combined(verdicts, criterion, "as_found"))
    ]
    alone = [d.number for d in deviations if d.remedy is not None and not d.independent]
    if improved and alone:
        return "as_found", (
            f"The remedies improve the verdicts on {', '.join(improved)}, and "
            f"{', '.join(alone)} lack an independent signatory: results stand as found."
        )
    beside = "Results as found stand beside."
    worse = _worse(verdicts, criteria)
    if worse:
        beside = f"They make worse: {'; '.join(worse)}. {beside}"
    if improved:
        return "after_remedy", (
            f"The remedies improve the verdicts on {', '.join(improved)}; they were signed by a "
            f"person independent of the developer. {beside}"
        )
    return "after_remedy", f"The remedies improve no verdict. {beside}"


def _worse(verdicts: Sequence[Verdict], criteria: Sequence[Criterion]) -> list[str]:
    """Name the clauses whose figure is farther on the wrong side after remedy."""
    clauses: dict[tuple[str, int], Criterion] = {}
    counts: dict[str, int] = {}
    for criterion in criteria:
        counts[criterion.id] = counts.get(criterion.id, 0) + 1
        clauses[(criterion.id, counts[criterion.id])] = criterion
    values = {(v.criterion, v.clause, v.basis): v.value for v in verdicts}
    worse = []
    for (id_, clause), criterion in clauses.items():
        before = values.get((id_, clause, "as_found"))
        after = values.get((id_, clause, "after_remedy"))
        if before is None or after is None:
            continue
        sign = 1.0 if criterion.rule.sense == "at most" else -1.0
        words = [show_value(v, criterion.unit) for v in (before, after)]
        if sign * (after - before) > 0 and words[0] != words[1]:
            worse.append(f"{id_} {criterion.rule.words} {words[0]} to {words[1]}")
    return worse
