"""As-built values of the demonstration's targets: scatter of machining, metrology as stated.

Everything is invented. The uncertainties follow the trade's usual means: a microscope for
small mouths states u, pin gauges in steps bracket a diameter and so state a tolerance, bore
gauges and slots seen from the side state U with k. Common practice, no source.
"""

from dataclasses import dataclass

import numpy as np

from qualify.demo.seeds import stream
from qualify.demo.toml_text import inline, text

POSITION_U_MM = {"side_drilled_hole": 0.03, "embedded_slot": 0.04}
POSITION_SCATTER_MM = 0.04
SLOT_WIDTH_MM = 0.15
DENSITY_KG_PER_M3 = 7850.0


@dataclass(frozen=True, slots=True)
class Metrology:
    """How a quantity was measured: scatter of making, statement of uncertainty, method."""

    scatter: float
    statement: tuple[tuple[str, str], ...]
    method: str


def of_hole(diameter_mm: float) -> Metrology:
    """Return the metrology of a hole's diameter."""
    if diameter_mm < 0.5:
        return Metrology(0.006, (("u", "0.008"),), "measuring microscope at the mouth, two axes")
    if diameter_mm < 1.0:
        return Metrology(
            0.010, (("tolerance", "0.015"),), "pin gauges, go and no-go, bracketed to the step"
        )
    if diameter_mm < 1.5:
        return Metrology(0.012, (("U", "0.02"), ("k", "2")), "pin gauge and microscope")
    return Metrology(0.012, (("U", "0.02"), ("k", "2")), "air gauge along the bore")


def of_extent(extent_mm: float) -> Metrology:
    """Return the metrology of a slot's extent."""
    if extent_mm < 2.0:
        return Metrology(0.025, (("u", "0.02"),), "measuring microscope at edge L")
    return Metrology(0.040, (("U", "0.05"), ("k", "2")), "optical projector at edge L")


def of_tilt(extent_mm: float) -> Metrology:
    """Return the metrology of a slot's tilt."""
    if extent_mm < 1.0:
        return Metrology(0.35, (("tolerance", "1.0"),), "electrode setting by sine bar")
    return Metrology(0.20, (("U", "0.3"), ("k", "2")), "optical projector at edge L")


def quantity(nominal: float, digits: int, metrology: Metrology, certificate: str, name: str) -> str:
    """Return a measured quantity as an inline table.

    Parameters
    ----------
    nominal : value on the drawing, in the unit of the quantity.
    digits : decimals of the drawing value; the measured one has one more.
    name : name of the random stream.
    """
    drawn = float(stream(name).normal(nominal, metrology.scatter))
    return inline(
        [
            ("nominal", f"{nominal:.{digits}f}"),
            ("measured", f"{drawn:.{digits + 1}f}".replace("-0.00", "0.00")),
            *metrology.statement,
            ("method", text(metrology.method)),
            ("certificate", text(certificate)),
        ]
    )


def positions(x_mm: float, z_mm: float, name: str) -> tuple[str, str]:
    """Return the as-built x and z of a target's centre, to a hundredth of a millimetre."""
    offset = stream(name).normal(0.0, POSITION_SCATTER_MM, size=2)
    return f"{x_mm + offset[0]:.2f}", f"{z_mm + offset[1]:.2f}"


def mass_kg(length_mm: float, width_mm: float, thickness_mm: float) -> str:
    """Return the mass of a plate of the outline, to a tenth of a kilogram, holes neglected."""
    volume_m3 = float(np.prod([length_mm, width_mm, thickness_mm])) * 1e-9
    return f"{volume_m3 * DENSITY_KG_PER_M3:.1f}"
