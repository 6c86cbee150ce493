"""What lies in the section that the array looks at, in the frame of a recording.

The model is of a plane section: x along the array, zero in its middle; z depth below the scan
face. Holes and faces run across the section; pores and discs lie in it. Millimetres, degrees.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Solid:
    """Velocities, and attenuation of longitudinal waves, which rises with the frequency."""

    longitudinal_m_per_s: float
    shear_m_per_s: float
    attenuation_db_per_mm: float = 0.0
    attenuation_at_mhz: float = 5.0

    @property
    def speed(self) -> float:
        """Longitudinal velocity in millimetres a microsecond."""
        return self.longitudinal_m_per_s * 1e-3

    @property
    def ratio(self) -> float:
        """Longitudinal over shear velocity."""
        return self.longitudinal_m_per_s / self.shear_m_per_s


@dataclass(frozen=True, slots=True)
class Hole:
    """A side-drilled hole, empty, across the section; its centre."""

    x_mm: float
    z_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Face:
    """A straight face of no thickness and no traction across the section, from end to end.

    `breaks_wall`: its second end lies on the back wall, and is no edge.
    """

    x1_mm: float
    z1_mm: float
    x2_mm: float
    z2_mm: float
    breaks_wall: bool = False


@dataclass(frozen=True, slots=True)
class Disc:
    """The flat end of a flat-bottomed hole, parallel to the scan face; its centre."""

    x_mm: float
    z_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Pore:
    """A spherical pore, empty, in the section."""

    x_mm: float
    z_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Scene:
    """All that reflects, but grain. `wall_mm`: depth of the back wall, None without one."""

    holes: tuple[Hole, ...] = ()
    faces: tuple[Face, ...] = ()
    discs: tuple[Disc, ...] = ()
    pores: tuple[Pore, ...] = ()
    wall_mm: float | None = None
