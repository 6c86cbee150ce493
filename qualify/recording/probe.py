"""The probe and what lies between it and the block.

Frame of a recording, two-dimensional: x along the array, zero at the middle of the array; z depth
below the scan face, zero at the face. Element centres lie on the face (contact), or above it
(z < 0) on a wedge or in water. Millimetres, microseconds, megahertz, metres per second.
"""

import math
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field

from qualify.blocks.metrology import STRICT, Positive, Text

Array = NDArray[np.float64]


class Probe(BaseModel):
    """A linear array.

    `bandwidth_fraction` is the −6 dB bandwidth of the pulse-echo response over its centre.
    """

    model_config = STRICT
    name: Text
    elements: Annotated[int, Field(ge=2, le=1024)]
    pitch_mm: Positive
    element_width_mm: Positive
    passive_width_mm: Positive
    centre_mhz: Positive
    bandwidth_fraction: Annotated[float, Field(gt=0, le=2)]

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
    longitudinal_m_per_s: Positive
    height_mm: Positive
    angle_deg: Annotated[float, Field(gt=-80, lt=80)] = 0.0


Coupling = Annotated[Contact | Standoff, Field(discriminator="kind")]


class Medium(BaseModel):
    """Velocities of the block, and its thickness where a back wall is looked for."""

    model_config = STRICT
    longitudinal_m_per_s: Positive
    longitudinal_u_m_per_s: Positive | None = None
    thickness_mm: Positive | None = None


def element_centres_mm(probe: Probe, coupling: Contact | Standoff) -> Array:
    """Return x and z (elements, 2) of the element centres in the frame of the recording."""
    along = probe.along_mm()
    if isinstance(coupling, Contact):
        return np.column_stack([along, np.zeros_like(along)])
    tilt = math.radians(coupling.angle_deg)
    return np.column_stack([along * math.cos(tilt), -coupling.height_mm - along * math.sin(tilt)])
