"""What the results of a study hang on: POD and verdicts under choices made otherwise.

Each row takes the plan as it is but for one choice. Bounds are likelihood bounds throughout, for
speed, with the row 'as planned' among them: rows are compared like with like. Nothing here
replaces the result of the plan.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from qualify.criteria.estimate import Basis, Estimate
from qualify.criteria.rules import Criterion
from qualify.criteria.words import ALL_READERS
from qualify.pod.model_choice import ModelRow
from qualify.pod.size_uncertainty import SizeUncertainty, size_uncertainty
from qualify.reading.tables import Tables
from qualify.study.analysis import BLANK_UNITS
from qualify.study.curve_checks import Cell, CurveCheck
from qualify.study.plan import Plan
from qualify.study.sensitivity_passes import (
    NO_NUMBER,
    NOT_VARIED,
    Clause,
    Pooled,
    Seen,
    SharedStudy,
)
from qualify.study.sensitivity_rows import PLANNED, Row, Sensitivity, Told
from qualify.study.variations import Variation

Place = tuple[str, str]
"""Target kind and mode."""

MODEL_ROWS = {"models_smallest": "smallest", "models_largest": "largest"}
NO_UNCERTAINTY = "no uncertainty is recorded for every size"
ONE_READER = "one reader only"
NO_CURVE = "no curve was fitted"


def sensitivity_of(
    tables: Tables,
    plan: Plan,
    basis: Basis,
    readers: tuple[str, ...],
    checks: Mapping[Cell, CurveCheck],
    varied: Sequence[Variation],
    pooled: Pooled | None = None,
    own: Sequence[Estimate] | None = None,
) -> dict[Place, Sensitivity]:
    """Return what the results of each kind and mode hang on.

    Parameters
    ----------
    tables : the rows that count on the basis of the claim.
    checks : of its curves; their eight models are used.
    varied : see `qualify.study.variations`.
    own : the study's estimates by the plan's own bound: leaving out a reader is judged on them.
    pooled : fits the readings of one kind and mode by all readers together, where that is wanted.
    """
    study = SharedStudy(plan, basis, readers, pooled, own)
    base = study.seen(tables)
    seen: list[tuple[str, str, Seen | None, Mapping[str, str]]] = [
        (v.key, v.words, None if v.tables is None else study.seen(v.tables), v.absent)
        for v in varied
    ]
    seen += [_without(study, base, reader, tables) for reader in readers]
    seen += [_models(study, base, checks, key) for key in MODEL_ROWS]
    seen.append(_sizes(study, base, tables))
    places = dict.fromkeys((cell[1], cell[2]) for cell in base.told)
    return {place: _sensitivity(study, base, seen, place) for place in places}


def _sensitivity(
    study: SharedStudy,
    base: Seen,
    seen: Sequence[tuple[str, str, Seen | None, Mapping[str, str]]],
    place: Place,
) -> Sensitivity:
    clauses = _clauses(study.plan.criteria, place)
    rows = [Row(PLANNED, "as planned", None, _readers(base, place), ())]
    for key, words, one, absent in seen:
        reason = absent.get(place[1]) or absent.get("/".join(place))
        if one is None or reason is not None:
            rows.append(Row(key, words, reason or NO_CURVE, (), ()))
            continue
        before = one.against or base.statuses
        changed = tuple(
            (name, before[clause], one.statuses[clause])
            for clause, name in clauses.items()
            if before[clause] != one.statuses[clause]
        )
        rows.append(Row(key, words, None, _readers(one, place), changed))
    held = tuple((*clause, name, base.statuses[clause]) for clause, name in clauses.items())
    return Sensitivity(tuple(rows), held)


def _readers(seen: Seen, place: Place) -> tuple[Told, ...]:
    return tuple(told for cell, told in seen.told.items() if (cell[1], cell[2]) == place)


def _clauses(criteria: Sequence[Criterion], place: Place) -> dict[Clause, str]:
    """Return the clauses on a kind, or on the blank units, in a mode, with their names.

    Only those on numbers that every variation computes anew.
    """
    counts: dict[str, int] = {}
    out: dict[Clause, str] = {}
    for criterion in criteria:
        counts[criterion.id] = number = counts.get(criterion.id, 0) + 1
        mine = criterion.mode == place[1] and criterion.population in (place[0], BLANK_UNITS)
        each = criterion.reader not in ("pooled", "new_reader")
        if mine and each and criterion.statistic not in NOT_VARIED:
            out[(criterion.id, number)] = f"{criterion.id} {criterion.rule.words}"
    return out


def _without(
    study: SharedStudy, base: Seen, reader: str, tables: Tables
) -> tuple[str, str, Seen | None, Mapping[str, str]]:
    """Return the study without one reader: the others' curves stay, the worst may change."""
    key, words = f"without_{reader}", f"without reader {reader}"
    others = tuple(r for r in study.readers if r != reader)
    if not others:
        return key, words, None, {mode.id: ONE_READER for mode in study.plan.modes}
    told = {cell: one for cell, one in base.told.items() if cell[3] in others}
    frame = tables.opportunities
    rest = frame[frame["reader"] != reader]
    if study.pooled is not None:
        told |= study.together(rest, study.pooled)
    present = set(frame[frame["reader"] == reader]["mode"])
    absent = {
        m.id: "this reader read nothing here" for m in study.plan.modes if m.id not in present
    }
    used = base.estimates if study.own is None else study.own
    before = study.statuses(used, study.readers)
    return key, words, Seen(told, study.statuses(used, others), base.estimates, before), absent


def _models(
    study: SharedStudy, base: Seen, checks: Mapping[Cell, CurveCheck], key: str
) -> tuple[str, str, Seen | None, Mapping[str, str]]:
    """Return each curve by that near-equal model whose bound is the smallest or largest."""
    which = MODEL_ROWS[key]
    told = {}
    for cell, one in base.told.items():
        if cell[3] == ALL_READERS:
            continue
        check = checks.get(cell)
        near = [] if check is None else [row for row in check.models.rows if row.near_equal]
        told[cell] = _of_model(one, near, which == "largest") if near else one
    words = f"{which} of the models within 2 AIC units"
    return key, words, _replaced(study, base, told), {}


def _of_model(one: Told, near: Sequence[ModelRow], largest: bool) -> Told:
    def size(row: ModelRow) -> float:
        return float("inf") if row.a90_95 is None else row.a90_95

    row = (max if largest else min)(near, key=size)
    reason = None if row.a90_95 is not None else row.reason or NO_NUMBER
    return replace(one, a90=row.a90, a90_95=row.a90_95, reason=reason, what=row.name)


def _sizes(
    study: SharedStudy, base: Seen, tables: Tables
) -> tuple[str, str, Seen | None, Mapping[str, str]]:
    """Return each curve with the uncertainty of its sizes integrated over."""
    key, words = "size_uncertainty", "uncertainty of sizes integrated over"
    frame, told, absent = tables.opportunities, {}, {}
    for cell, one in base.told.items():
        if cell[3] == ALL_READERS:
            continue
        mine = (frame["kind"] == cell[1]) & (frame["mode"] == cell[2])
        rows = frame[mine & (frame["reader"] == cell[3])]
        if rows["size_u_mm"].isna().any():
            absent[f"{cell[1]}/{cell[2]}"] = NO_UNCERTAINTY
        elif len(rows):
            told[cell] = _integrated(one, rows, study.plan)
    return key, words, _replaced(study, base, told), absent


def _integrated(one: Told, rows: pd.DataFrame, plan: Plan) -> Told:
    try:
        found: SizeUncertainty = size_uncertainty(
            rows["size_mm"].to_numpy(dtype=float),
            rows["hit"].to_numpy(dtype=float),
            rows["size_u_mm"].to_numpy(dtype=float),
            link=plan.analysis.link,
            scale=plan.analysis.scale,
        )
    except ValueError as error:
        return replace(one, a90=None, a90_95=None, reason=str(error))
    reason = None if found.a90_95_integrated is not None else found.reason or NO_NUMBER
    return replace(one, a90=found.a90_integrated, a90_95=found.a90_95_integrated, reason=reason)


def _replaced(study: SharedStudy, base: Seen, told: Mapping[Cell, Told]) -> Seen:
    """Return the verdicts with other sizes in the place of those as planned.

    The favourable bound, which decides 'not met', stays as planned.
    """
    ends = _ranges(base)
    placed = {cell: one.within(ends.get(cell)) for cell, one in told.items()}
    estimates = []
    for item in base.estimates:
        one = placed.get((item.basis, item.population, item.mode, item.reader))
        if one is not None and item.statistic == "a90_95":
            item = replace(item, value=one.a90_95, reason=one.reason, in_range=one.in_range)
        estimates.append(item)
    return Seen(placed, study.statuses(estimates, study.readers), tuple(estimates))


def _ranges(base: Seen) -> dict[Cell, tuple[float, float]]:
    found: dict[Cell, dict[str, float]] = {}
    for item in base.estimates:
        if item.statistic in ("smallest_size", "largest_size") and item.value is not None:
            cell = (str(item.basis), item.population, item.mode, item.reader)
            found.setdefault(cell, {})[item.statistic] = float(item.value)
    return {cell: (v["smallest_size"], v["largest_size"]) for cell, v in found.items()}
