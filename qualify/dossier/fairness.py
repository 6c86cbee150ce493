"""What is alike and what differs between the modes compared; what differs is marked."""

from math import floor

from reportlab.platypus import Flowable

from qualify.dossier.comparison_views import names_of
from qualify.dossier.tables import Cell, grid
from qualify.dossier.words import RESPONSE_UNITS, general, percent
from qualify.reading.extent import METHOD_WORDS
from qualify.study.plan import Mode
from qualify.study.reading_files import ReadingFiles
from qualify.study.result import StudyResult

DIFFERS = "≠"
OFTEN = ("not_frozen_before_opening", "changed_after_freezing", "frozen_after_opening")
NOT_TOLD = "not recorded"


def set_up_table(result: StudyResult) -> Flowable:
    """Return how reference and candidate were set up; rows that differ are marked."""
    modes = [result.inputs.plan.mode(name) for name in names_of(result)]
    return _table(result, modes, [f"Reference {modes[0].id}", f"Candidate {modes[1].id}"])


def rule_table(result: StudyResult, modes: list[str]) -> Flowable:
    """Return how every mode that counts by rule was set up; rows that differ are marked."""
    return _table(result, [result.inputs.plan.mode(name) for name in modes], modes)


def _table(result: StudyResult, modes: list[Mode], heads: list[str]) -> Flowable:
    rows: list[list[Cell]] = []
    for name, cells in _rows(result, modes):
        differs = len(set(cells)) > 1
        rows.append([f"{name} {DIFFERS}" if differs else name, *cells])
    width = 136.0 / len(modes)
    return grid(["", *heads], rows, [34, *[width] * len(modes)])


def _rows(result: StudyResult, modes: list[Mode]) -> list[tuple[str, list[str]]]:
    reading = result.inputs.reading
    rows = [
        ("Name", [mode.name for mode in modes]),
        ("Set up by", [mode.set_up_by for mode in modes]),
        ("Recordings", [_recordings(result)] * len(modes)),
        ("Region looked at", [_region(reading, mode.id) for mode in modes]),
        ("Of it covered", [_covered(result, mode.id) for mode in modes]),
        ("Threshold", [_threshold(mode) for mode in modes]),
        ("Declared false-call rate per unit", [_rate(result, mode.id) for mode in modes]),
        ("Threshold frozen before truth was opened", [_frozen(result)] * len(modes)),
        ("Sized by", [_method(reading, mode.id) for mode in modes]),
        ("Reading rule", [mode.reading_rule for mode in modes]),
    ]
    return [(name, cells) for name, cells in rows if set(cells) != {NOT_TOLD}]


def _recordings(result: StudyResult) -> str:
    told = result.inputs.plan.comparison.recordings
    return {"same": "the same", "different": "its own"}.get(told or "", NOT_TOLD)


def _region(reading: ReadingFiles | None, mode: str) -> str:
    if reading is None or mode not in {one.name for one in reading.plan.modes}:
        return NOT_TOLD
    region = reading.plan.region
    words = (
        f"x {general(region.x_from_mm)} to {general(region.x_to_mm)} mm, z "
        f"{general(region.z_from_mm)} to {general(region.z_to_mm)} mm"
    )
    return words + "".join(f"; less {mask.reason}" for mask in reading.plan.mode(mode).masks)


def _covered(result: StudyResult, mode: str) -> str:
    shown = () if result.shown is None else result.shown.modes
    share = next((float(one.fraction.mean()) for one in shown if one.mode == mode), None)
    if share is None:
        return NOT_TOLD
    return percent(floor(1000.0 * share) / 1000.0)  # down, so that 99.96 % is not called all


def _method(reading: ReadingFiles | None, mode: str) -> str:
    if reading is None or mode not in {one.name for one in reading.plan.modes}:
        return NOT_TOLD
    return METHOD_WORDS[reading.plan.mode(mode).size_method]


def _threshold(mode: Mode) -> str:
    if mode.threshold is None:
        return "none: called by eye"
    unit = RESPONSE_UNITS.get(mode.threshold_unit or "", mode.threshold_unit or "")
    return f"{general(mode.threshold)} {unit}".strip()


def _rate(result: StudyResult, mode: str) -> str:
    """Return the rate that a mode's threshold was set for: of the reading stage, else the plan."""
    reading = result.inputs.reading
    if reading is not None and mode in {one.mode for one in reading.thresholds.modes}:
        return percent(reading.thresholds.declared_rate)
    rates = {how.mode: how.declared_rate for how in result.inputs.plan.responses}
    declared = rates.get(mode)
    return "none declared" if declared is None else percent(declared)


def _frozen(result: StudyResult) -> str:
    """Return what the order of events says of thresholds, alike for all modes of one plan."""
    late = [one for one in result.deviations if one.kind in OFTEN]
    if late:
        return "no, or changed since: see the order of events"
    kinds = {event.kind: event.status for event in result.events if event.status != "not recorded"}
    status = kinds.get("threshold_frozen") or kinds.get("plan_frozen")
    return NOT_TOLD if status is None else f"yes, {status}"
