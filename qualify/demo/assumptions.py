"""Every number the model of readers assumes, in one place. All of them are invented.

They say how such a trial could come out, not how any imaging mode performs. They were set
before the first reading was drawn, and no number and no seed was changed for a verdict. What
they assume of the two modes: coherence shows somewhat smaller holes than the linear scan;
it loses tilted slots sooner, draws more false calls, and sizes slots worse (a middle of a
face that isn't specular is not coherent, so long slots come out short).

Sizes that are half detected and all offsets act on the natural logarithm of the size: an
offset of 0.1 moves a reader's curve by about 10 % in size.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ModeAssumption:
    """What is assumed of a mode.

    Attributes
    ----------
    hole_a50_mm, slot_a50_mm : size half detected by reader 'zero' at 30 mm, no tilt.
    tilt_per_deg : what a degree of a slot's tilt costs, in ln size.
    depth_per_mm : what a millimetre of depth beyond 30 mm costs, in ln size.
    own_sd : target effect of this mode alone, in ln size.
    x_sd_mm, z_sd_mm : standard deviation of reported positions.
    size_offset_mm, size_slope, size_sd_mm : reported extent = offset + slope * extent + error.
    size_method : how readers size in this mode.
    """

    hole_a50_mm: float
    slot_a50_mm: float
    tilt_per_deg: float
    depth_per_mm: float
    own_sd: float
    x_sd_mm: float
    z_sd_mm: float
    size_offset_mm: float
    size_slope: float
    size_sd_mm: float
    size_method: str


@dataclass(frozen=True, slots=True)
class ReaderAssumption:
    """What is assumed of a reader.

    Attributes
    ----------
    caution : what the reader wants beyond reader 'zero', in ln size; below 0 calls sooner.
    look_sd : scatter from look to look, in ln size.
    lapse_fraction : share of clear indications that are overlooked.
    false_calls_per_unit : probability of a false call in a unit, by mode.
    size_bias_mm : what this reader adds to every extent.
    not_examined_fraction : share of units this reader gives up for no image.
    """

    caution: float
    look_sd: float
    lapse_fraction: float
    false_calls_per_unit: dict[str, float]
    size_bias_mm: float
    not_examined_fraction: float


SHARED_SD = 0.15
"""Target effect shared by modes and readers, in ln size (roughness, grain about the target)."""
GROSS_ERROR_FRACTION = 0.01
"""Share of found targets whose depth is written wrong by 5 to 9 mm (a cursor misread)."""
UNSIZED_FRACTION = 0.08
"""Share of found slots for which the reader gives no extent."""
SMALLEST_EXTENT_MM = 0.3
"""No reader reports an extent below this."""

MODES = {
    "linear": ModeAssumption(
        hole_a50_mm=0.55,
        slot_a50_mm=1.40,
        tilt_per_deg=0.015,
        depth_per_mm=0.004,
        own_sd=0.10,
        x_sd_mm=0.9,
        z_sd_mm=0.5,
        size_offset_mm=0.30,
        size_slope=0.95,
        size_sd_mm=0.60,
        size_method="6 dB drop of the echo along x",
    ),
    "coherence": ModeAssumption(
        hole_a50_mm=0.45,
        slot_a50_mm=1.30,
        tilt_per_deg=0.022,
        depth_per_mm=0.002,
        own_sd=0.12,
        x_sd_mm=0.6,
        z_sd_mm=0.4,
        size_offset_mm=0.20,
        size_slope=0.72,
        size_sd_mm=0.90,
        size_method="half of the local peak of coherence along x",
    ),
}

READERS = {
    "R1": ReaderAssumption(
        caution=-0.04,
        look_sd=0.12,
        lapse_fraction=0.010,
        false_calls_per_unit={"linear": 0.015, "coherence": 0.022},
        size_bias_mm=0.0,
        not_examined_fraction=0.002,
    ),
    "R2": ReaderAssumption(
        caution=0.02,
        look_sd=0.15,
        lapse_fraction=0.010,
        false_calls_per_unit={"linear": 0.020, "coherence": 0.030},
        size_bias_mm=0.10,
        not_examined_fraction=0.004,
    ),
    "R3": ReaderAssumption(
        caution=0.12,
        look_sd=0.20,
        lapse_fraction=0.020,
        false_calls_per_unit={"linear": 0.025, "coherence": 0.045},
        size_bias_mm=-0.15,
        not_examined_fraction=0.004,
    ),
}

CAUSES = ("flaw", "unclear", "grain", "artefact", "geometry")
CAUSE_OF_HIT = (0.82, 0.12, 0.06, 0.0, 0.0)
"""Shares of the cause a reader writes beside a found target."""
CAUSE_OF_FALSE_CALL = {
    "linear": (0.35, 0.15, 0.30, 0.05, 0.15),
    "coherence": (0.35, 0.15, 0.20, 0.25, 0.05),
}
"""Shares of the cause a reader writes beside a false call."""
CONFIDENCE_OF_FALSE_CALL = (0.35, 0.30, 0.20, 0.10, 0.05)
"""Shares of confidence 1 to 5 beside a false call."""
