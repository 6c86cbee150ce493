"""The rows that count on each basis: as found, after remedy, examined units only."""

from collections.abc import Mapping, Sequence

import pandas as pd

from qualify.criteria.estimate import Basis
from qualify.reading.tables import BLANK, Tables
from qualify.study.deviations import Deviation
from qualify.study.plan import Plan

UNIT = ["mode", "reader", "repeat", "specimen", "grading_unit"]


def views_of(tables: Tables, deviations: Sequence[Deviation], plan: Plan) -> Mapping[Basis, Tables]:
    """Return, for each basis, the first-repeat rows that count on it.

    Rows of another kind of signal or reader than the plan's never count. After remedy,
    targets removed are gone with everything in their unit, and units read again are
    represented by their re-reading.
    """
    own = _of_plan(tables, plan)
    found = Tables(*(_first(table) for table in _parts(own)))
    remedied = _removed(_read_again(own), deviations)
    examined = _examined_only(remedied)
    if plan.not_examined.flawed == "excluded":
        return {
            "as_found": _examined_only(found),
            "after_remedy": examined,
            "examined_only": examined,
        }
    return {"as_found": found, "after_remedy": remedied, "examined_only": examined}


def _parts(tables: Tables) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    return (tables.opportunities, tables.calls, tables.measurements)


def _of_plan(tables: Tables, plan: Plan) -> Tables:
    frame = tables.opportunities
    wanted = (frame["signal"] == plan.signal) & (frame["read_by"] == plan.read_by)
    wanted &= (frame["repeat"] == 1) & (frame["set"] == "blind")
    calls, sizes = tables.calls, tables.measurements
    return Tables(
        frame[wanted],
        calls[(calls["repeat"] == 1) & (calls["match"] != "corrected")],
        sizes[sizes["repeat"] == 1],
    )


def _first(table: pd.DataFrame) -> pd.DataFrame:
    return table[table["reading"] == "first"]


def _read_again(tables: Tables) -> Tables:
    """Put re-readings in the place of the first readings of the same units."""
    frame = tables.opportunities
    again = frame[frame["reading"] == "re-reading"]
    units = set(again[UNIT].itertuples(index=False, name=None))
    pieces: set[tuple[object, ...]] = units
    targets = set(
        again[["mode", "reader", "repeat", "specimen", "target"]].itertuples(index=False, name=None)
    )

    def keep(
        table: pd.DataFrame, columns: list[str], held: set[tuple[object, ...]]
    ) -> pd.DataFrame:
        inside = pd.Series(
            [key in held for key in table[columns].itertuples(index=False, name=None)],
            index=table.index,
            dtype=bool,
        )
        return table[(table["reading"] == "re-reading") | ~inside]

    return Tables(
        keep(frame, UNIT, pieces),
        keep(tables.calls, UNIT, pieces),
        keep(tables.measurements, ["mode", "reader", "repeat", "specimen", "target"], targets),
    )


def _removed(tables: Tables, deviations: Sequence[Deviation]) -> Tables:
    """Take out the targets, with their units, whose remedy was removal."""
    gone = {
        deviation.subject
        for deviation in deviations
        if deviation.kind == "set_overlap"
        and deviation.remedy is not None
        and deviation.remedy.action == "removed"
    }
    frame = tables.opportunities
    out = frame[frame["target"].isin(gone)]
    units = set(out[["specimen", "grading_unit"]].itertuples(index=False, name=None))

    def elsewhere(table: pd.DataFrame) -> pd.DataFrame:
        inside = [
            key in units
            for key in table[["specimen", "grading_unit"]].itertuples(index=False, name=None)
        ]
        return table[~pd.Series(inside, index=table.index, dtype=bool)]

    return Tables(
        elsewhere(frame),
        elsewhere(tables.calls),
        tables.measurements[~tables.measurements["target"].isin(gone)],
    )


def _examined_only(tables: Tables) -> Tables:
    """Leave out flawed units that were not examined."""
    frame = tables.opportunities
    lost = frame[(frame["examined"] == 0) & (frame["kind"] != BLANK)]
    columns = ["mode", "reader", "repeat", "target"]
    gone = set(lost[columns].itertuples(index=False, name=None))
    sizes = tables.measurements
    inside = [key in gone for key in sizes[columns].itertuples(index=False, name=None)]
    return Tables(
        frame.drop(index=lost.index),
        tables.calls,
        sizes[~pd.Series(inside, index=sizes.index, dtype=bool)],
    )
