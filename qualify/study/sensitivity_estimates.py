"""What the results hang on, as estimates, so that `results.json` holds every number in print."""

from collections.abc import Mapping

from qualify.criteria.estimate import Basis, Estimate
from qualify.criteria.words import ALL_READERS
from qualify.study.sensitivity import Place
from qualify.study.sensitivity_rows import PLANNED, Row, Sensitivity, Told
from qualify.study.where import Where

NO_CHANGE = "one of both bounds does not exist"
NO_ESTIMATE = "no estimate exists under this variation"


def sensitivity_estimates(held: Mapping[Place, Sensitivity], basis: Basis) -> list[Estimate]:
    """Return the numbers of every row that could be shown, by kind, mode and reader."""
    out: list[Estimate] = []
    for (kind, mode), one in held.items():
        planned = {told.reader: told for told in one.planned.readers}
        for row in one.rows:
            for told in row.readers:
                if row.key.startswith("without_") and told.reader != ALL_READERS:
                    continue  # the others' numbers are those as planned
                where = Where(out, basis, kind, mode, told.reader, told.targets)
                _row(where, row, told, planned.get(told.reader))
    return out


def change(told: Told | None, planned: Told | None) -> float | None:
    """Return the bound over that as planned, less 1; None where one of them does not exist."""
    ends = [None if one is None else one.a90_95 for one in (told, planned)]
    if ends[0] is None or not ends[1]:
        return None
    return ends[0] / ends[1] - 1.0


def _row(where: Where, row: Row, told: Told, planned: Told | None) -> None:
    name, method = f"sensitivity_{row.key}", f"{row.words}; plan's link and scale"
    if told.what:
        method = f"{row.words}: {told.what}"
    kind = "cluster-robust Wald" if told.reader == ALL_READERS else "likelihood"
    bound = f"{method}, {kind} bound"
    where.add(f"{name}_hits", told.hits, "count", method=row.words)
    where.add(f"{name}_targets", told.targets, "count", method=row.words)
    reason = told.reason or NO_ESTIMATE
    where.add(f"{name}_a90", told.a90, "mm", method=method, reason=reason)
    where.add(
        f"{name}_a90_95",
        told.a90_95,
        "mm",
        method=bound,
        side="upper",
        reason=told.reason,
        in_range=told.in_range,
    )
    if row.key != PLANNED:
        words = f"a90/95 over that as planned, less 1; {kind} bounds"
        moved = change(told, planned)
        where.add(f"{name}_change", moved, "fraction", method=words, reason=NO_CHANGE)
