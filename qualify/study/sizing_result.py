"""The sizing error of one kind, mode and reader: sizes by name, and what is told of them."""

from dataclasses import dataclass

import pandas as pd

from qualify.sizing.error import SizingError, sizing_error
from qualify.sizing.report import SizingReport, sizing_report
from qualify.study.plan import Population

KEYS = ["specimen", "target", "mode", "reader", "repeat", "reading"]
TILT_CLASS_DEG = 5.0
"""As-built tilts are told together within half of this of a multiple of it; common practice, no
source."""


@dataclass(frozen=True, slots=True)
class TiltPart:
    """The sizing error of the targets about one tilt, in degrees."""

    tilt_deg: int
    error: SizingError
    missed: int


@dataclass(frozen=True, slots=True)
class SizingResult:
    """Sizes of one kind, mode and reader, in millimetres.

    Attributes
    ----------
    targets, true, reported : (n,) of targets that were found and sized, in one order.
    unsized, missed : true sizes of targets found without a size, and examined and not found.
    not_examined : targets in units that were not examined; in no number here.
    report : what is told of them.
    tilts : the same by tilt; empty where tilt is not recorded or does not differ.
    """

    targets: tuple[str, ...]
    true: tuple[float, ...]
    reported: tuple[float, ...]
    unsized: tuple[float, ...]
    missed: tuple[float, ...]
    not_examined: int
    report: SizingReport
    tilts: tuple[TiltPart, ...]


def sizing_result(
    measurements: pd.DataFrame, opportunities: pd.DataFrame, population: Population
) -> SizingResult:
    """Analyse the sizes of one population from the rows of one mode and reader."""
    rows = measurements[measurements["kind"] == population.kind]
    rows = rows[rows["quantity"] == population.size_quantity]
    looked = opportunities[[*KEYS, "examined", "tilt_deg"]].drop_duplicates(KEYS)
    rows = rows.merge(looked, on=KEYS, how="left")
    examined = rows["examined"].fillna(1) == 1
    found = rows["found"] == 1
    lost = rows[~found & examined]
    sized, unsized = rows[found & rows["reported"].notna()], rows[found & rows["reported"].isna()]
    report = sizing_report(
        sized["true"].to_numpy(dtype=float),
        sized["reported"].to_numpy(dtype=float),
        true_u=sized["true_u"].to_numpy(dtype=float),
        reported_u=sized["reported_u"].to_numpy(dtype=float),
        missed=lost["true"].tolist(),
        unsized=unsized["true"].tolist(),
    )
    return SizingResult(
        targets=tuple(sized["target"].astype(str)),
        true=tuple(sized["true"].tolist()),
        reported=tuple(sized["reported"].tolist()),
        unsized=tuple(unsized["true"].tolist()),
        missed=tuple(lost["true"].tolist()),
        not_examined=int((~found & ~examined).sum()),
        report=report,
        tilts=_by_tilt(rows[found | examined]),
    )


def _by_tilt(rows: pd.DataFrame) -> tuple[TiltPart, ...]:
    """Return the error about each tilt, where there is more than one."""
    tilted = rows[rows["tilt_deg"].notna()]
    about = (tilted["tilt_deg"] / TILT_CLASS_DEG).round() * TILT_CLASS_DEG
    if about.nunique() < 2:
        return ()
    out = []
    for tilt, part in tilted.groupby(about, sort=True):
        found = part[part["found"] == 1]
        sized = found[found["reported"].notna()]
        error = sizing_error(
            sized["true"].to_numpy(dtype=float),
            sized["reported"].to_numpy(dtype=float),
            unsized=len(found) - len(sized),
        )
        out.append(TiltPart(int(float(str(tilt))), error, len(part) - len(found)))
    return tuple(out)
