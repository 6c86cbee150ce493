"""The probe and what lies between it and the block.

Frame of a recording, two-dimensional: x along the array, zero at the middle of the array; z depth
below the scan face, zero at the face. Element centres lie on the face (contact), or above it
(z < 0) on a wedge or in water. Millimetres, microseconds, megahertz, metres per second.
"""

import math
from collections.abc import Callable
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Positive, Text

Array = NDArray[np.float64]


def _within(least: float, most: float, unit: str, what: str) -> Callable[[float], float]:
    """Return a check that a value is not told in another unit; limits chosen wide, no source."""

    def check(value: float) -> float:
        if not least <= value <= most:
            msg = (
                f"found {value:g} {unit}; {what} lies between {least:g} and {most:g} {unit}, mend "
                "the value or its unit"
            )
            raise ValueError(msg)
        return value

    return check


Velocity = Annotated[
    Positive, AfterValidator(_within(300.0, 20000.0, "metres a second", "a velocity of sound"))
]
Frequency = Annotated[
    Positive, AfterValidator(_within(0.05, 200.0, "megahertz", "the centre frequency of an array"))
]
Pitch = Annotated[
    Positive, AfterValidator(_within(0.001, 50.0, "millimetres", "the pitch of an array"))
]


class Probe(BaseModel):
    """A linear array.

    `bandwidth_fraction` is the −6 dB bandwidth of the pulse-echo response over its centre.
    """

    model_config = STRICT
    name: Text
    elements: Annotated[int, Field(ge=2, le=1024)]
    pitch_mm: Pitch
    element_width_mm: Positive
    passive_width_mm: Positive
    centre_mhz: Frequency
    bandwidth_fraction: Annotated[float, Field(gt=0, le=2)]

    @model_validator(mode="after")
    def _elements_apart(self) -> Self:
        if self.element_width_mm > self.pitch_mm:
            msg = (
                f"element_width_mm {self.element_width_mm:g} is larger than pitch_mm "
                f"{self.pitch_mm:g}; elements do not overlap, mend one of them"
            )
            raise ValueError(msg)
        return self

    @property
    def aperture_mm(self) -> float:
        """Length of the array from centre to centre of its outermost elements."""
        return (self.elements - 1) * self.pitch_mm

    def along_mm(self) -> Array:
        """Return the element centres (elements,) along the array, zero in its middle."""
        return np.asarray((np.arange(self.elements) - (self.elements - 1) / 2) * self.pitch_mm)


class Contact(BaseModel):
    """Elements on the scan face, with a film of couplant of no thickness."""

    model_config = STRICT
    kind: Literal["contact"]


class Standoff(BaseModel):
    """A flat wedge or a water path between the elements and the flat scan face.

    `height_mm` is the height of the middle of the array above the face, `angle_deg` the tilt of
    the array: positive lifts the end with the larger x.
    """

    model_config = STRICT
    kind: Literal["wedge", "water"]
    longitudinal_m_per_s: Velocity
    height_mm: Positive
    angle_deg: Annotated[float, Field(gt=-80, lt=80)] = 0.0


Coupling = Annotated[Contact | Standoff, Field(discriminator="kind")]


class Medium(BaseModel):
    """Velocities of the block, and its thickness where a back wall is looked for."""

    model_config = STRICT
    longitudinal_m_per_s: Velocity
    longitudinal_u_m_per_s: Positive | None = None
    thickness_mm: Positive | None = None


def check_fits(probe: Probe, coupling: Contact | Standoff, sampling_mhz: float) -> None:
    """Check what no part of a recording says alone.

    Raises
    ------
    ValueError : if an element lies in or on the block through a standoff, or if the sampling is
        below twice the upper end of the probe's −6 dB band (Nyquist).
    """
    if isinstance(coupling, Standoff):
        lowest = float(element_centres_mm(probe, coupling)[:, 1].max())
        if lowest >= 0.0:
            msg = (
                f"the array of {probe.aperture_mm:g} mm, tilted by {coupling.angle_deg:g} degrees "
                f"at a height of {coupling.height_mm:g} mm, has an element {lowest:.2f} mm below "
                "the scan face; give coupling.height_mm of the middle of the array, or a smaller "
                "coupling.angle_deg"
            )
            raise ValueError(msg)
    upper_mhz = probe.centre_mhz * (1.0 + probe.bandwidth_fraction / 2.0)
    if sampling_mhz < 2.0 * upper_mhz:
        msg = (
            f"sampling_mhz {sampling_mhz:g} is less than twice the upper end of the probe's band, "
            f"{upper_mhz:g} megahertz; mend sampling_mhz, probe.centre_mhz or "
            "probe.bandwidth_fraction"
        )
        raise ValueError(msg)


def element_centres_mm(probe: Probe, coupling: Contact | Standoff) -> Array:
    """Return x and z (elements, 2) of the element centres in the frame of the recording."""
    along = probe.along_mm()
    if isinstance(coupling, Contact):
        return np.column_stack([along, np.zeros_like(along)])
    tilt = math.radians(coupling.angle_deg)
    return np.column_stack([along * math.cos(tilt), -coupling.height_mm - along * math.sin(tilt)])
