"""What a study shows of its reading stage: rule, thresholds, sizes by every method."""

from dataclasses import dataclass
from pathlib import Path

from qualify.errors import Fault, InputError
from qualify.files import read_toml, validated
from qualify.study.imaging_plan import FILE as IMAGING
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.pilot_record import PilotRecord, read_pilot
from qualify.study.plan import Plan
from qualify.study.reading_plan import FILE as READING
from qualify.study.reading_plan import ReadingPlan
from qualify.study.reading_sizes import FILE as SIZES
from qualify.study.reading_sizes import SizeRow, read_sizes
from qualify.study.thresholds import FILE as THRESHOLDS
from qualify.study.thresholds import Thresholds, read_thresholds

RECORDED = (
    READING,
    IMAGING,
    THRESHOLDS,
    SIZES,
    "simulation.toml",
    "presentation.csv",
    "pilot.json",
)
"""Files of the stages before the call sheets, recorded in the manifest where they are there."""
AGREE = 1e-9


@dataclass(frozen=True, slots=True)
class ReadingFiles:
    """The reading stage of a study.

    `sizes` may be empty: the rule's indications sized by every method asked for.
    """

    plan: ReadingPlan
    imaging: ImagingPlan
    thresholds: Thresholds
    sizes: tuple[SizeRow, ...]
    pilot: PilotRecord | None = None


def reading_files(folder: Path, plan: Plan) -> ReadingFiles | None:
    """Return the reading stage beside a study; None where its calls came from elsewhere.

    Raises
    ------
    InputError : for files that can't be taken, and thresholds that are not those of the plan.
    """
    if not all((folder / name).is_file() for name in (READING, IMAGING, THRESHOLDS)):
        return None
    reading = validated(ReadingPlan, read_toml(folder / READING, READING), READING)
    imaging = validated(ImagingPlan, read_toml(folder / IMAGING, IMAGING), IMAGING)
    thresholds = read_thresholds(folder / THRESHOLDS, THRESHOLDS)
    _check_thresholds(plan, thresholds)
    sizes = read_sizes(folder / SIZES) if (folder / SIZES).is_file() else ()
    return ReadingFiles(reading, imaging, thresholds, sizes, read_pilot(folder))


def _check_thresholds(plan: Plan, thresholds: Thresholds) -> None:
    told = {mode.id: mode for mode in plan.modes}
    faults = []
    for one in thresholds.modes:
        mode = told.get(one.mode)
        if mode is None:
            continue
        place = f"plan.toml: mode '{one.mode}': threshold"
        if mode.threshold is None or abs(mode.threshold - one.threshold) > AGREE:
            found = "none" if mode.threshold is None else f"{mode.threshold:g}"
            wanted = f"{THRESHOLDS} says {one.threshold:g}; put that, or set thresholds anew"
            faults.append(Fault(place, found, wanted))
        elif mode.threshold_unit != one.unit:
            faults.append(
                Fault(f"{place}_unit", f"{mode.threshold_unit}", f"{THRESHOLDS} says {one.unit}")
            )
    if faults:
        raise InputError(faults)
