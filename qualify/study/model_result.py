"""What the check of a model found, as plain values: made by `model_check`, kept as a file."""

from dataclasses import asdict, dataclass
from typing import Any

from qualify import __version__
from qualify.simulation.checks import Check
from qualify.simulation.face_checks import FaceCase, TipCase
from qualify.simulation.words import LEFT_OUT, MODEL

SEEDS = 6
COARSER_DB = 12.0
RATIO_FROM, RATIO_TO = 1.9, 2.2
WHAT = "check of the model"


@dataclass(frozen=True, slots=True)
class GrainCase:
    """Envelope of grain in one mode: mean fourth power over squared mean square; Rayleigh has 2.

    Attributes
    ----------
    z_from_mm, z_to_mm : depths looked at.
    ratio, error : over all places, and its standard error from place to place.
    accepted : whether it lies between 1.9 and 2.2, two standard errors allowed.
    """

    mode: str
    z_from_mm: float
    z_to_mm: float
    ratio: float
    error: float
    accepted: bool


@dataclass(frozen=True, slots=True)
class ModeCase:
    """What a mode makes of a hole, over several draws of the grain.

    Attributes
    ----------
    grain_db : backscatter. snr_db, twin_snr_db, excess_db : means over draws, amplitude modes.
    excess_sd_db : from draw to draw.
    coherence, twin_coherence : means of the largest in the box, coherence modes.
    """

    grain_db: float
    diameter_mm: float
    mode: str
    snr_db: float | None = None
    twin_snr_db: float | None = None
    excess_db: float | None = None
    excess_sd_db: float | None = None
    coherence: float | None = None
    twin_coherence: float | None = None


@dataclass(frozen=True, slots=True)
class ModelCheck:
    """Everything that the chapter on the model tells.

    `attenuation_db_per_mm` is the declared one at the centre frequency; `setting` names what was
    checked: array, material, sampling, seed, software.
    """

    study: str
    block: str
    depth_mm: float
    attenuation_db_per_mm: float
    setting: tuple[tuple[str, str], ...]
    conditions: dict[str, Any]
    checks: tuple[Check, ...]
    faces: tuple[FaceCase, ...]
    tips: tuple[TipCase, ...]
    grain: tuple[GrainCase, ...]
    modes: tuple[ModeCase, ...]

    def document(self) -> dict[str, Any]:
        """Return it as plain values."""
        told = asdict(self)
        for row, check in zip(told["checks"], self.checks, strict=True):
            row["holds"] = check.holds
        return told | {
            "what": WHAT,
            "signal": "simulated",
            "software": __version__,
            "model": MODEL,
            "left_out": list(LEFT_OUT),
            "draws": SEEDS,
        }
