"""The reference block: material, outline, datum, grading units, targets.

Only flat blocks so far. Frame and sign conventions: see `qualify.blocks.targets`.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from qualify.blocks.metrology import STRICT, Finite, Positive, Quantity, Text
from qualify.blocks.targets import Target, TargetId

BlockId = TargetId


class Material(BaseModel):
    """Acoustic and density data of the block's material, with standard uncertainties."""

    model_config = STRICT
    name: Text
    density_kg_per_m3: Positive
    density_u_kg_per_m3: Positive
    longitudinal_m_per_s: Positive
    longitudinal_u_m_per_s: Positive
    shear_m_per_s: Positive
    shear_u_m_per_s: Positive
    attenuation_db_per_mm: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    attenuation_at_mhz: Positive
    grain_noise: Text


class FlatOutline(BaseModel):
    """A rectangular plate."""

    model_config = STRICT
    shape: Literal["flat"]
    length_mm: Positive
    width_mm: Positive
    thickness_mm: Positive
    tolerance_mm: Positive


class Datum(BaseModel):
    """Where x = y = z = 0 is on the piece, in words, and the engraved marks."""

    model_config = STRICT
    corner: Text
    x_along: Text
    y_across: Text


class GradingUnit(BaseModel):
    """A stretch that gets one verdict per flaw class; blank or flawed follows from the targets."""

    model_config = STRICT
    id: TargetId
    x_from_mm: Finite
    x_to_mm: Finite


class BlankCheck(BaseModel):
    """How the unflawed volume was shown to be unflawed: at least the method and its report."""

    model_config = STRICT
    method: Text
    report: Text
    smallest_detectable_mm: Positive
    checked_on: date


class Block(BaseModel):
    """One reference block as built."""

    model_config = STRICT
    format: Literal[1]
    id: BlockId
    revision: Text
    title: Text
    purpose: Text
    provenance: Text
    mass_kg: Positive
    scan_surface: Literal["A", "B"]
    finish: Text
    material: Material
    outline: FlatOutline
    datum: Datum
    blank_check: BlankCheck | None = None
    grading_units: tuple[GradingUnit, ...] = ()
    targets: tuple[Target, ...] = ()

    def unit_of(self, x_mm: float) -> GradingUnit | None:
        """Return the grading unit that holds x, None in a guard."""
        for unit in self.grading_units:
            if unit.x_from_mm <= x_mm <= unit.x_to_mm:
                return unit
        return None

    def blank_units(self) -> tuple[GradingUnit, ...]:
        """Return the grading units in which no target's centre lies."""
        held = {unit.id for t in self.targets if (unit := self.unit_of(t.x_mm)) is not None}
        return tuple(unit for unit in self.grading_units if unit.id not in held)


__all__ = ["Block", "GradingUnit", "Material", "Quantity", "Target"]
