"""Candidate against reference in a study: on each kind, for each reader and all together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qualify.comparison.false_calls import PairedFalseCalls, paired_false_calls
from qualify.comparison.holm import holm
from qualify.comparison.modes import Asked, Comparison, Endpoint, compare_modes
from qualify.comparison.paired_counts import sign_test
from qualify.comparison.paired_sizes import PairedSizes, paired_sizes
from qualify.comparison.paired_targets import PairedTargets, paired_targets
from qualify.comparison.power import ratio_power
from qualify.comparison.resampling import RESAMPLES
from qualify.comparison.response_ratio import ResponseRatio
from qualify.criteria.estimate import Basis
from qualify.criteria.words import ALL_READERS
from qualify.effort import is_whole, trials
from qualify.reading.tables import BLANK, Tables
from qualify.study.comparisons_response import response_comparison
from qualify.study.curve_checks import Cell
from qualify.study.plan import Plan

FAMILIES: Mapping[str, tuple[Endpoint, ...]] = {
    "hits": ("hits",),
    "hits_and_curves": ("hits", "curves"),
    "hits_curves_and_a90_ratio": ("hits", "curves", "a90_ratio"),
}
TRUE_RATIOS = (1.0, 0.8)
SHOWN = 6
Holm = Mapping[Endpoint, float | None]


@dataclass(frozen=True, slots=True)
class ModeComparison:
    """Candidate against reference on one kind, for one reader or all together.

    Attributes
    ----------
    found : None with `reason`.
    left_out : targets read in one mode only, by name: not examined in the other.
    holm_p : p adjusted over the kinds of the plan and the tests of its family.
    power : share of simulated trials of this design in which every reader would show a ratio of at
        most the margin, by true ratio; in the cell of all readers (of the only one), else empty.
    examined_p : exact p of hits on targets examined in both modes; None without any.
    at_rate : ratio from responses at the declared false-call rate, None where none is declared.
    """

    found: Comparison | None
    reason: str | None
    left_out: tuple[str, ...]
    holm_p: Holm
    power: Mapping[float, float]
    at_rate: ResponseRatio | None
    examined_p: float | None = None


@dataclass(frozen=True, slots=True)
class Comparisons:
    """All comparisons of a study: of kinds by cell of the candidate, of blanks with kind blank."""

    modes: Mapping[Cell, ModeComparison]
    false_calls: Mapping[Cell, PairedFalseCalls]
    sizes: Mapping[Cell, PairedSizes] = field(default_factory=dict)


def margin_of(plan: Plan, kind: str) -> float | None:
    """Return the declared margin of the ratio: of the plan, else of a checked criterion."""
    if plan.comparison.margin is not None:
        return plan.comparison.margin
    for criterion in plan.criteria:
        named = (criterion.statistic, criterion.population, criterion.mode)
        if named == ("a90_ratio", kind, plan.claim.candidate_mode) and criterion.verified:
            return criterion.limit if criterion.limit > 0 else None
    return None


def compare_all(views: Mapping[Basis, Tables], plan: Plan, readers: Sequence[str]) -> Comparisons:
    """Return all comparisons; empty where the plan names no reference mode."""
    modes: dict[Cell, ModeComparison] = {}
    false_calls: dict[Cell, PairedFalseCalls] = {}
    candidate, reference = plan.claim.candidate_mode, plan.claim.reference_mode
    if reference is None or reference == candidate:
        return Comparisons(modes, false_calls)
    same: dict[str, ModeComparison] = {}
    for basis, tables in views.items():
        frame = tables.opportunities
        frame = frame[frame["mode"].isin((candidate, reference))]
        for who, own in _groups(readers):
            rows = frame[frame["reader"].isin(own)]
            told: dict[str, ModeComparison] = {
                population.kind: _compare(rows, population.kind, plan, own, same)
                for population in plan.populations
                if (rows["kind"] == population.kind).any()
            }
            for kind, one in _adjusted(told, plan).items():
                modes[(basis, kind, candidate, who)] = one
            blanks = _false_calls(rows, candidate, reference, own)
            if blanks is not None:
                false_calls[(basis, BLANK, candidate, who)] = blanks
    return Comparisons(_with_power(modes, plan), false_calls, _sizes(views, plan, readers))


def _sizes(
    views: Mapping[Basis, Tables], plan: Plan, readers: Sequence[str]
) -> dict[Cell, PairedSizes]:
    """Compare sizes of each kind that is sized, for each reader, on targets sized in both modes."""
    out: dict[Cell, PairedSizes] = {}
    candidate, reference = plan.claim.candidate_mode, plan.claim.reference_mode
    for basis, tables in views.items():
        frame = tables.measurements[tables.measurements["reported"].notna()]
        for kind in (p for p in plan.populations if p.sized):
            own = frame[(frame["kind"] == kind.kind) & (frame["quantity"] == kind.size_quantity)]
            for reader in readers:
                mine = own[own["reader"] == reader]
                one, other = (mine[mine["mode"] == mode] for mode in (reference, candidate))
                both = one.merge(other, on=["specimen", "target"], suffixes=("", "_other"))
                if len(one) or len(other):
                    found = paired_sizes(both["true"], both["reported"], both["reported_other"])
                    out[(basis, kind.kind, candidate, reader)] = found
    return out


def _with_power(modes: Mapping[Cell, ModeComparison], plan: Plan) -> dict[Cell, ModeComparison]:
    """Add the power of the design where a margin is declared: of each reader, all must show it."""
    out, done = dict(modes), {}  # type: dict[Cell, ModeComparison], dict[int, Mapping[float, float]]
    for (basis, kind, mode, who), one in modes.items():
        margin, found = margin_of(plan, kind), one.found
        every = who == ALL_READERS or (basis, kind, mode, ALL_READERS) not in modes
        if margin is None or found is None or not every or basis == "examined_only":
            continue
        if not is_whole():
            continue
        if id(found) not in done:
            link, seed = plan.analysis.link, plan.analysis.seed
            shares = {t: ratio_power(found.data, link, margin, t, seed=seed) for t in TRUE_RATIOS}
            done[id(found)] = {t: share for t, share in shares.items() if share is not None}
        out[(basis, kind, mode, who)] = replace(one, power=done[id(found)])
    return out


def _groups(readers: Sequence[str]) -> list[tuple[str, tuple[str, ...]]]:
    each: list[tuple[str, tuple[str, ...]]] = [(reader, (reader,)) for reader in readers]
    return [*each, (ALL_READERS, tuple(readers))] if len(readers) > 1 else each


def _adjusted(told: Mapping[str, ModeComparison], plan: Plan) -> dict[str, ModeComparison]:
    """Adjust p over kinds and tests of the family, for one reader or all together."""
    family = FAMILIES[plan.comparison.family]
    places = [(kind, name) for kind in told for name in family]
    p = [None if (f := told[kind].found) is None else f.p_values[name] for kind, name in places]
    adjusted = dict(zip(places, holm(p), strict=True))
    return {
        kind: replace(one, holm_p={name: adjusted[(kind, name)] for name in family})
        for kind, one in told.items()
    }  # fmt: skip


def _compare(
    rows: pd.DataFrame,
    kind: str,
    plan: Plan,
    readers: tuple[str, ...],
    same: dict[str, ModeComparison],
) -> ModeComparison:
    mine = rows[rows["kind"] == kind]
    columns = ["specimen", "target", "mode", "reader", "size_mm", "hit", "response", "examined"]
    key = f"{kind}\0{readers}\0{mine[columns].to_json()}"
    if key not in same:
        same[key] = _compared(rows, mine, kind, plan, readers)
    return same[key]


def _compared(
    rows: pd.DataFrame, mine: pd.DataFrame, kind: str, plan: Plan, readers: tuple[str, ...]
) -> ModeComparison:
    data, left_out, reason = pairs_of(mine, plan, readers)
    if data is None:
        return ModeComparison(None, reason, left_out, {}, {}, None)
    margin, seed = margin_of(plan, kind), plan.analysis.seed
    claim = plan.claim
    asked = Asked(
        link=plan.analysis.link, margin=margin, family=FAMILIES[plan.comparison.family],
        names=(f"in {claim.reference_mode}", f"in {claim.candidate_mode}"), seed=seed,
        resamples=trials(RESAMPLES),
    )  # fmt: skip
    found = compare_modes(data, asked)
    at_rate = response_comparison(rows, mine, plan) if len(readers) == 1 else None
    part = pairs_of(mine[mine["examined"] == 1], plan, readers)[0]
    looked = None if part is None else sign_test(part.steps).exact_p
    return ModeComparison(found, None, left_out, {}, {}, at_rate, looked)


def pairs_of(
    mine: pd.DataFrame, plan: Plan, readers: tuple[str, ...]
) -> tuple[PairedTargets | None, tuple[str, ...], str | None]:
    """Return targets read in both modes, those read in one only, and why nothing is compared."""
    candidate, reference = plan.claim.candidate_mode, plan.claim.reference_mode
    name = mine["specimen"].astype(str) + "/" + mine["target"].astype(str)
    frame = mine.assign(name=name)
    table = frame.pivot_table(index="name", columns=["mode", "reader"], values="hit",
                              aggfunc="first")  # fmt: skip
    lacking = [m for m in (reference, candidate) if m not in set(frame["mode"])]
    if lacking:
        return None, (), f"nobody read these targets in mode {', '.join(map(str, lacking))}"
    sizes = frame.groupby("name")["size_mm"]
    unlike = sorted(sizes.nunique().loc[lambda n: n > 1].index)
    if unlike:
        return None, (), f"targets have another size in another mode: {_named(unlike)}"
    columns = {
        mode: np.column_stack([
            table[(mode, r)].to_numpy(dtype=float) if (mode, r) in table.columns
            else np.full(len(table), np.nan)
            for r in readers
        ])
        for mode in (reference, candidate)
    }  # fmt: skip
    one = np.isfinite(columns[reference]) != np.isfinite(columns[candidate])
    alone = tuple(str(n).rsplit("/", 1)[-1] for n in table.index[one.any(axis=1)])
    both = (np.isfinite(columns[reference]) & np.isfinite(columns[candidate])).any(axis=1)
    if not both.any():
        return None, alone, "no target was read in both modes"
    data = paired_targets(
        [str(n) for n in table.index[both]], sizes.first().loc[table.index[both]].to_numpy(float),
        columns[reference][both], columns[candidate][both], readers=readers,
        scale=plan.analysis.scale,
    )  # fmt: skip
    return data, alone, None


def _named(names: Sequence[str]) -> str:
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return ", ".join(names[:SHOWN]) + more


def _false_calls(
    rows: pd.DataFrame, candidate: str, reference: str, readers: tuple[str, ...]
) -> PairedFalseCalls | None:
    blanks = rows[(rows["kind"] == BLANK) & (rows["examined"] == 1)]
    name = blanks["specimen"].astype(str) + "/" + blanks["grading_unit"].astype(str)
    table = blanks.assign(name=name).pivot_table(
        index="name", columns=["mode", "reader"], values="hit", aggfunc="max"
    )
    pairs = [(table.get((reference, r)), table.get((candidate, r))) for r in readers]
    there = [(a, b) for a, b in pairs if a is not None and b is not None]
    if not there:
        return None
    a, b = (np.column_stack([p[k].to_numpy(dtype=float) for p in there]) for k in (0, 1))
    found = paired_false_calls(a, b)
    return found if found.counts.n else None
