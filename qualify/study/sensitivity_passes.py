"""One variation of a study analysed: numbers of each curve, and verdicts, with likelihood bounds.

Modes and readers whose rows are alike under two variations are analysed once.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from qualify.criteria.estimate import Basis, Estimate, Estimates
from qualify.criteria.rules import Criterion
from qualify.criteria.verdict import Status, judge
from qualify.criteria.words import ALL_READERS
from qualify.pod.hit_miss import HitMissFit
from qualify.reading.tables import Tables
from qualify.study.analysis import OUTCOME_WORDS, analyse
from qualify.study.curve_checks import Cell
from qualify.study.plan import Mode, Plan
from qualify.study.sensitivity_rows import Told

Clause = tuple[str, int]
"""A criterion's id and the number of its clause."""
Alike = tuple[str, str, tuple[bytes, ...]]
"""Mode, reader, and what of their rows decides the numbers."""

CURVES = ("a90_95", "detection_rate_lower")
NOT_VARIED = ("response_a90_95", "a90_ratio", "set_overlap", "software_revisions")
NO_NUMBER = "no likelihood bound exists"

Pooled = Callable[[pd.DataFrame], Told]
"""Fits the opportunities of one kind and mode by all readers together; its reader `all_readers`."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one variation comes to: each curve's numbers, and the verdicts.

    `against` are the verdicts that those here are held against, where not those on likelihood
    bounds as planned.
    """

    told: Mapping[Cell, Told]
    statuses: Mapping[Clause, Status]
    estimates: tuple[Estimate, ...]
    against: Mapping[Clause, Status] | None = None


@dataclass(frozen=True, slots=True)
class SharedStudy:
    """What all variations share."""

    plan: Plan
    basis: Basis
    readers: tuple[str, ...]
    pooled: Pooled | None
    own: Sequence[Estimate] | None = None
    known: dict[Alike, tuple[dict[Cell, Told], list[Estimate]]] = field(default_factory=dict)

    def statuses(
        self, estimates: Sequence[Estimate], readers: Sequence[str]
    ) -> dict[Clause, Status]:
        """Judge all criteria on these estimates, with these readers as all of the trial."""
        found = judge(
            self.plan.criteria,
            Estimates(tuple(estimates)),
            self.basis,
            unexamined_limit=self.plan.not_examined.limit_fraction,
            readers=readers,
        )
        return {(v.criterion, v.clause): v.status for v in found}

    def seen(self, tables: Tables) -> Seen:
        """Analyse the rows of a variation with likelihood bounds."""
        told: dict[Cell, Told] = {}
        estimates: list[Estimate] = []
        for mode in self.plan.modes:
            for reader in self.readers:
                mine = _of(tables, mode.id, reader)
                if mine.opportunities.empty:
                    continue
                key = (mode.id, reader, _rows_alike(mine))
                if key not in self.known:
                    self.known[key] = self._pass(mine, mode, reader)
                told |= self.known[key][0]
                estimates += self.known[key][1]
        if self.pooled is not None:
            told |= self.together(tables.opportunities, self.pooled)
        return Seen(told, self.statuses(estimates, self.readers), tuple(estimates))

    def _pass(
        self, mine: Tables, mode: Mode, reader: str
    ) -> tuple[dict[Cell, Told], list[Estimate]]:
        chosen = self.plan.analysis.model_copy(update={"bound": "likelihood"})
        asked = {c.population for c in self.plan.criteria if c.mode == mode.id and _on_size(c)}
        kinds = tuple(
            p if p.kind in asked else p.model_copy(update={"sized": False})
            for p in self.plan.populations
        )
        update = {"analysis": chosen, "modes": (mode,), "populations": kinds}
        plan = self.plan.model_copy(update=update)
        out = analyse({self.basis: mine}, plan, (reader,))
        return {cell: _told(reader, fit) for cell, fit in out.fits.items()}, out.estimates

    def together(self, frame: pd.DataFrame, pooled: Pooled) -> dict[Cell, Told]:
        """Return the readings of all readers together, by kind and mode."""
        return {
            (self.basis, str(p.kind), mode.id, ALL_READERS): pooled(rows)
            for p in self.plan.populations
            for mode in self.plan.modes
            if len(rows := frame[(frame["kind"] == p.kind) & (frame["mode"] == mode.id)])
        }


def _on_size(criterion: Criterion) -> bool:
    """Whether a criterion asks for the error of sizing, which is analysed only then."""
    return criterion.rule.per == "kind" and criterion.statistic not in (*CURVES, *NOT_VARIED)


def _of(tables: Tables, mode: str, reader: str) -> Tables:
    parts = (tables.opportunities, tables.calls, tables.measurements)
    return Tables(*(t[(t["mode"] == mode) & (t["reader"] == reader)] for t in parts))


def _rows_alike(mine: Tables) -> tuple[bytes, ...]:
    """Return what decides the numbers of one mode and reader: equal where all numbers are."""
    names = (
        (mine.opportunities, ["specimen", "grading_unit", "target", "hit", "examined"]),
        (mine.calls, ["specimen", "grading_unit", "cause", "match"]),
        (mine.measurements, ["target", "found", "reported"]),
    )
    return tuple(table[columns].to_csv(index=False).encode() for table, columns in names)


def _told(reader: str, fit: HitMissFit) -> Told:
    upper = fit.bounds["likelihood"]["upper"]
    reason = OUTCOME_WORDS.get(fit.outcome) or upper.reason or NO_NUMBER
    why = None if upper.value is not None else reason
    told = Told(reader, fit.n, fit.hits, fit.a90, upper.value, why, None)
    return told.within(fit.tested_range)
