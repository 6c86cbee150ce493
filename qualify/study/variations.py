"""What a plan fixes by choice, chosen otherwise: the rows of a trial under each variation.

The matching box half as wide and half as wide again; the threshold 2 dB up and down; units not
examined counted the other way; calls that their reader took for no flaw left out. Figures of a half
and of 2 dB are common practice, no source.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qualify.criteria.estimate import Basis
from qualify.reading.tables import BLANK, Tables
from qualify.study.deviations import Deviation
from qualify.study.plan import Mode, Plan
from qualify.study.views import views_of

Rescore = Callable[[Plan], Tables]

BOXES = {"box_smaller": 0.5, "box_larger": 1.5}
STEPS_DB = {"threshold_higher": 2.0, "threshold_lower": -2.0}
UNIT = ["mode", "reader", "repeat", "reading", "specimen", "grading_unit"]
LOOK = ["mode", "reader", "repeat", "reading", "specimen", "target"]
WORDS = {
    "box_smaller": "matching box 50 % smaller",
    "box_larger": "matching box 50 % larger",
    "threshold_higher": "threshold 2 dB higher",
    "threshold_lower": "threshold 2 dB lower",
    "not_examined_otherwise": "units not examined {} instead of {}",
    "flaws_only": "without calls taken for no flaw",
}
NO_FLAW = ("geometry", "grain", "artefact", "coupling")
FINISHED = "the study entered with finished tables: calls can't be matched again"
NO_BOX = "matching is by grading unit: there is no box"
BY_EYE = "called by eye: there is no threshold to move"
NO_DECIBELS = "a coherence has no decibels"
UNRECORDED = "hits without a recorded response"
NONE_BELOW = "no response below the threshold was recorded"
ALL_EXAMINED = "every target was examined"
ALL_FLAWS = "no call was given a cause other than a flaw"


@dataclass(frozen=True, slots=True)
class Variation:
    """A plan chosen otherwise, and the rows that then count on the basis of the claim.

    Attributes
    ----------
    key, words : its name for programs and for people.
    tables : its rows; None where it can be shown for no mode.
    absent : by mode, why it can't be shown.
    """

    key: str
    words: str
    tables: Tables | None
    absent: Mapping[str, str] = field(default_factory=dict)


def variations(
    tables: Tables,
    plan: Plan,
    deviations: Sequence[Deviation],
    basis: Basis,
    planned: Tables,
    rescore: Rescore | None,
) -> tuple[Variation, ...]:
    """Return the variations of a study.

    Parameters
    ----------
    tables : all rows, before a basis is chosen.
    basis : that of the claim.
    planned : the rows that count on it.
    rescore : matches the calls again under another plan; None where there are no calls.
    """

    def view(rows: Tables, under: Plan) -> Tables:
        return views_of(rows, deviations, under)[basis]

    return (
        *(_box(key, plan, rescore, view) for key in BOXES),
        *(_threshold(key, planned, plan) for key in STEPS_DB),
        _not_examined(tables, planned, plan, view),
        _flaws_only(planned, plan),
    )


def _everywhere(plan: Plan, reason: str) -> dict[str, str]:
    return {mode.id: reason for mode in plan.modes}


def _box(
    key: str, plan: Plan, rescore: Rescore | None, view: Callable[[Tables, Plan], Tables]
) -> Variation:
    """Match the calls again with half widths multiplied; extents of targets stay."""
    rule, factor = plan.matching, BOXES[key]
    if rescore is None or rule.x_mm is None or rule.z_mm is None:
        reason = FINISHED if rule.rule == "box" else NO_BOX
        return Variation(key, WORDS[key], None, _everywhere(plan, reason))
    wider = {
        "x_mm": factor * rule.x_mm,
        "y_mm": None if rule.y_mm is None else factor * rule.y_mm,
        "z_mm": factor * rule.z_mm,
    }
    other = plan.model_copy(update={"matching": rule.model_copy(update=wider)})
    return Variation(key, WORDS[key], view(rescore(other), plan))


def _threshold(key: str, tables: Tables, plan: Plan) -> Variation:
    absent, frame = {}, tables.opportunities.copy()
    for mode in plan.modes:
        mine = frame["mode"] == mode.id
        reason = _why_not(frame[mine], mode, STEPS_DB[key])
        if reason is not None:
            absent[mode.id] = reason
            continue
        assert mode.threshold is not None
        moved = _moved(mode, STEPS_DB[key])
        heard = frame["response"].notna() & (frame["examined"] == 1) & mine
        high = frame["response"] >= moved
        frame.loc[mine, "hit"] = (heard & high)[mine].astype(frame["hit"].dtype)
    if len(absent) == len(plan.modes):
        return Variation(key, WORDS[key], None, absent)
    sizes = _found_again(tables.measurements, frame)
    calls = _called_again(tables.calls, frame)
    return Variation(key, WORDS[key], Tables(frame, calls, sizes), absent)


def _why_not(rows: pd.DataFrame, mode: Mode, step_db: float) -> str | None:
    """Say why hits can't be told at another threshold; None where they can."""
    if mode.threshold is None:
        return BY_EYE
    if mode.threshold_unit == "coherence":
        return NO_DECIBELS
    if bool(((rows["hit"] == 1) & rows["response"].isna()).any()):
        return UNRECORDED
    below = rows["response"].notna() & (rows["response"] < mode.threshold)
    return None if step_db > 0.0 or bool(below.any()) else NONE_BELOW


def _moved(mode: Mode, step_db: float) -> float:
    assert mode.threshold is not None
    if mode.threshold_unit == "db":
        return mode.threshold + step_db
    return float(mode.threshold * 10.0 ** (step_db / 20.0))


def _called_again(calls: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Return calls with one in each blank unit that is called and had none, less those not so."""
    blank = (calls["match"] == "false_call_blank").to_numpy(dtype=bool)
    called = frame[(frame["kind"] == BLANK) & (frame["hit"] == 1)]
    held, wanted = (list(t[UNIT].itertuples(index=False, name=None)) for t in (calls, called))
    before = {unit for unit, on_blank in zip(held, blank, strict=True) if on_blank}
    now = set(wanted)
    still = [not on_blank or unit in now for unit, on_blank in zip(held, blank, strict=True)]
    kept = calls[np.array(still, dtype=bool)]
    new = called.loc[[unit not in before for unit in wanted], UNIT]
    if new.empty:
        return kept
    rows = new.assign(match="false_call_blank", cause="").reindex(columns=calls.columns)
    return rows if kept.empty else pd.concat([kept.astype(object), rows.astype(object)])


def _found_again(sizes: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Measurements with `found` as in the opportunities; without a reported size where new."""
    if sizes.empty:
        return sizes
    hits = frame[frame["kind"] != BLANK].set_index(LOOK)["hit"]
    hits = hits[~hits.index.duplicated()]
    keys = pd.MultiIndex.from_frame(sizes[LOOK])
    found = hits.reindex(keys).to_numpy(dtype=float)
    found = np.where(np.isnan(found), sizes["found"].to_numpy(dtype=float), found)
    out = sizes.copy()
    out["found"] = found.astype(int)
    out["reported"] = out["reported"].where(found == 1.0)
    return out


def _not_examined(
    tables: Tables, planned: Tables, plan: Plan, view: Callable[[Tables, Plan], Tables]
) -> Variation:
    key, held = "not_examined_otherwise", plan.not_examined
    told = {"miss": "counted as misses", "excluded": "left out"}
    flawed = "excluded" if held.flawed == "miss" else "miss"
    words = WORDS[key].format(told[flawed], told[held.flawed])
    other = plan.model_copy(update={"not_examined": held.model_copy(update={"flawed": flawed})})
    rows = view(tables, other)
    new, old = rows.opportunities, planned.opportunities
    if flawed == "excluded":
        new = new[(new["examined"] == 1) | (new["kind"] == BLANK)]
    if len(new) == len(old):
        return Variation(key, words, None, _everywhere(plan, ALL_EXAMINED))
    return Variation(key, words, Tables(new, rows.calls, rows.measurements))


def _flaws_only(tables: Tables, plan: Plan) -> Variation:
    """Leave out calls whose reader gave a cause that is no flaw, and what only they hit."""
    key, calls = "flaws_only", tables.calls
    dropped = calls["cause"].isin(NO_FLAW)
    if not dropped.any():
        return Variation(key, WORDS[key], None, _everywhere(plan, ALL_FLAWS))
    frame = tables.opportunities.copy()
    for match, place in (("hit", LOOK), ("false_call_blank", UNIT)):
        own = calls["match"] == match
        lost, kept = (
            set(calls.loc[own & part, place].itertuples(index=False, name=None))
            for part in (dropped, ~dropped)
        )
        rows = [at in lost - kept for at in frame[place].itertuples(index=False, name=None)]
        of_kind = (frame["kind"] == BLANK) == (match == "false_call_blank")
        frame.loc[np.array(rows, dtype=bool) & of_kind, "hit"] = 0
    sizes = _found_again(tables.measurements, frame)
    return Variation(key, WORDS[key], Tables(frame, calls[~dropped], sizes))
