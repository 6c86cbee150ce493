"""Invented responses of holes and peaks of blanks: two tables, and a study that enters with them.

Drawn from a model, with a recorded seed; they show nothing of any instrument. Two modes on the
same targets: amplitude in decibels above a reference, and coherence from 0 to 1.
"""

import csv
import io
from dataclasses import dataclass

import numpy as np

from qualify.reading.tables import MatchedCallRow, OpportunityRow
from qualify.study.data import DataSources, FinishedTables
from qualify.study.declaration import Declaration
from qualify.study.plan import Plan
from qualify.study.template import template_study
from qualify.study.toml_text import to_toml

SEED = 20261127
HOLES, BLANKS = 60, 82
INVENTED = "All content is invented, drawn from a model with a recorded seed."
LEVELS = {"amplitude": (21.0, 10.0, 2.6), "coherence": (1.1, 1.9, 0.55)}
NOISE = {"amplitude": (8.0, 1.3), "coherence": (-1.9, 0.30)}
FLOOR = {"amplitude": 12.0, "coherence": 0.28}  # of targets: at the noise of the blanks
NOISE_FLOOR = {"amplitude": 6.0, "coherence": 0.10}
CEILING = {"amplitude": 30.0, "coherence": 0.95}
THRESHOLD = {"amplitude": 13.0, "coherence": 0.33}
UNIT = {"amplitude": "db", "coherence": "coherence"}
DIGITS = {"amplitude": 2, "coherence": 4}


@dataclass(frozen=True, slots=True)
class _Drawn:
    """Diameters, responses of holes and peaks of blanks by mode; nan below the floor."""

    diameter: np.ndarray
    depth: np.ndarray
    holes: dict[str, np.ndarray]
    blanks: dict[str, np.ndarray]


def _draw() -> _Drawn:
    rng = np.random.default_rng(SEED)
    diameter = np.round(np.geomspace(0.25, 2.0, HOLES), 3)
    depth = np.round(rng.uniform(6.0, 54.0, HOLES), 1)
    holes, blanks = {}, {}
    for mode, (middle, slope, sigma) in LEVELS.items():
        peak = rng.gumbel(*NOISE[mode], BLANKS)
        value = middle + slope * np.log(diameter) + sigma * rng.standard_normal(HOLES)
        holes[mode] = _recorded(value, mode, FLOOR[mode])
        blanks[mode] = _recorded(peak, mode, NOISE_FLOOR[mode])
    return _Drawn(diameter, depth, holes, blanks)


def _recorded(value: np.ndarray, mode: str, floor: float) -> np.ndarray:
    """Responses as an instrument would record them: nothing below the floor, no more than full."""
    told = value if mode == "amplitude" else 1.0 / (1.0 + np.exp(-value))
    kept = np.round(np.minimum(told, CEILING[mode]), DIGITS[mode])
    return np.where(told <= floor, np.nan, kept)


def example_response_files() -> dict[str, bytes]:
    """Return the tables for `pod response`, and the study, by relative name."""
    drawn = _draw()
    study = template_study()
    rows = [row for mode in LEVELS for row in _opportunities(drawn, mode)]
    calls = [row for mode in LEVELS for row in _calls(drawn, mode)]
    data = DataSources(
        format=1,
        study="EXAMPLE-RESPONSES",
        tables=FinishedTables(opportunities="opportunities.csv", calls="calls.csv"),
    )
    return {
        "responses.csv": _csv(_holes(drawn)),
        "blanks.csv": _csv(_peaks(drawn)),
        "study/plan.toml": to_toml(_plan(study.plan), head=f"The plan.\n{INVENTED}").encode(),
        "study/study.toml": to_toml(
            _declaration(study.declaration), head=f"The declaration.\n{INVENTED}"
        ).encode(),
        "study/data.toml": to_toml(data, head="Where the data lie.").encode(),
        "study/opportunities.csv": _csv(rows, list(OpportunityRow.model_fields)),
        "study/calls.csv": _csv(calls, list(MatchedCallRow.model_fields)),
    }


def _csv(rows: list[dict[str, object]], columns: list[str] | None = None) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, columns or list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def _cell(value: float) -> object:
    return "" if np.isnan(value) else f"{value:g}"


def _holes(drawn: _Drawn) -> list[dict[str, object]]:
    return [
        {
            "target": f"H{i + 1:02d}",
            "diameter_mm": f"{drawn.diameter[i]:g}",
            "amplitude_db": _cell(drawn.holes["amplitude"][i]),
            "coherence": _cell(drawn.holes["coherence"][i]),
        }
        for i in range(HOLES)
    ]


def _peaks(drawn: _Drawn) -> list[dict[str, object]]:
    return [
        {
            "unit": f"B{i + 1:02d}",
            "amplitude_db": _cell(drawn.blanks["amplitude"][i]),
            "coherence": _cell(drawn.blanks["coherence"][i]),
        }
        for i in range(BLANKS)
    ]


def _opportunities(drawn: _Drawn, mode: str) -> list[dict[str, object]]:
    base = {
        "set": "blind", "mode": mode, "reader": "rule", "repeat": 1, "reading": "first",
        "signal": "none", "read_by": "rule", "examined": 1, "response_unit": UNIT[mode],
        "threshold": THRESHOLD[mode],
    }  # fmt: skip
    rows: list[dict[str, object]] = []
    for i, value in enumerate(drawn.holes[mode]):
        rows.append({
            **base, **_told(value, mode), "specimen": f"piece_{i % 12 + 1:02d}",
            "grading_unit": f"U{i // 12 + 1}", "target": f"H{i + 1:02d}",
            "kind": "side_drilled_hole", "size_mm": f"{drawn.diameter[i]:g}",
            "size_u_mm": "0.01", "depth_mm": f"{drawn.depth[i]:g}",
        })  # fmt: skip
    for i, value in enumerate(drawn.blanks[mode]):
        rows.append({
            **base, **_noise(value, mode), "specimen": f"piece_{i % 12 + 1:02d}",
            "grading_unit": f"U{i // 12 + 6}", "kind": "blank",
        })  # fmt: skip
    return rows


def _told(value: float, mode: str) -> dict[str, object]:
    """Response of a row, its mark of censoring, and whether it is called."""
    if np.isnan(value):
        return {"response": "", "response_unit": "", "censored": "left", "hit": 0}
    mark = "right" if value >= CEILING[mode] else ""
    return {"response": f"{value:g}", "censored": mark, "hit": int(value >= THRESHOLD[mode])}


def _noise(value: float, mode: str) -> dict[str, object]:
    """Peak of a blank row: at most the floor of the noise where nothing was recorded."""
    if np.isnan(value):
        return {"response": f"{NOISE_FLOOR[mode]:g}", "censored": "left", "hit": 0}
    return _told(value, mode)


def _calls(drawn: _Drawn, mode: str) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for flawed, values in ((True, drawn.holes[mode]), (False, drawn.blanks[mode])):
        for i, value in enumerate(values):
            if np.isnan(value) or value < THRESHOLD[mode]:
                continue
            rows.append({
                "reader": "rule", "mode": mode, "repeat": 1, "reading": "first",
                "specimen": f"piece_{i % 12 + 1:02d}",
                "grading_unit": f"U{i // 12 + (1 if flawed else 6)}", "response": f"{value:g}",
                "response_unit": UNIT[mode], "cause": "flaw",
                "match": "hit" if flawed else "false_call_blank",
                "target": f"H{i + 1:02d}" if flawed else "", "rule": "grading_unit",
            })  # fmt: skip
    return rows


def _plan(plan: Plan) -> Plan:
    mode = plan.modes[0].model_dump()
    words = "everything at or above the threshold is called, by rule"
    given = {
        **plan.model_dump(),
        "study": "EXAMPLE-RESPONSES",
        "signal": "none",
        "read_by": "rule",
        "modes": [
            {**mode, "id": m, "name": f"{m} image", "threshold": THRESHOLD[m],
             "threshold_unit": UNIT[m], "reading_rule": words,
             "status": "accepted" if m == "amplitude" else "candidate"}
            for m in LEVELS
        ],
        "matching": {"rule": "grading_unit", "derivation": "a call in the unit counts"},
        "populations": [{"kind": "side_drilled_hole", "size_quantity": "diameter_mm",
                         "size_in_words": "diameter", "sized": False}],
        "criteria": [],
        "responses": [_response(m) for m in LEVELS],
    }  # fmt: skip
    given["claim"] |= {"candidate_mode": "coherence", "reference_mode": "amplitude"}
    return Plan.model_validate(given)


def _response(mode: str) -> dict[str, object]:
    axis = "linear" if mode == "amplitude" else "logit"
    return {
        "mode": mode, "unit": UNIT[mode], "size_axis": "log", "response_axis": axis,
        "floor": FLOOR[mode], "ceiling": CEILING[mode], "law": "gumbel", "declared_rate": 0.02,
        "qualification_size_mm": 0.6,
        "reason": "invented responses are drawn on these axes",
    }  # fmt: skip


def _declaration(declaration: Declaration) -> Declaration:
    given = declaration.model_dump()
    given |= {
        "study": "EXAMPLE-RESPONSES",
        "title": "Responses of holes in two modes, invented",
        "readers": [],
        "deviations": [],
        "remedies": [],
        "limitations": ["invented numbers: nothing is shown of any instrument"],
    }
    known = set(Declaration.model_fields)
    return Declaration.model_validate({k: v for k, v in given.items() if k in known})
