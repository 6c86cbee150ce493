"""The key: from blind codes and datum distances to block coordinates.

A blind code labels a block as it is presented. Readers count units from the presented datum
and measure from it; the key says which block it is, whether it lay turned end for end about
the vertical axis (x and y then run the other way), and how far the presented datum lies from
the block's end.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from pydantic import BaseModel

from qualify.blocks.definition import Block, GradingUnit
from qualify.blocks.metrology import STRICT, Finite, Text

SetName = Literal["setup", "open", "blind", "reserve"]


class KeyRow(BaseModel):
    """One row of the key table."""

    model_config = STRICT
    code: Text
    block: Text
    flipped: bool
    datum_offset_mm: Finite = 0.0


class SetRow(BaseModel):
    """One row of the history of sets: a target belonged to a set from a day, until a day."""

    model_config = STRICT
    target: Text
    block: Text
    set: SetName
    from_date: date
    until_date: date | None = None


@dataclass(frozen=True, slots=True)
class Presented:
    """A block as it was presented under a blind code."""

    code: str
    block: Block
    flipped: bool
    datum_offset_mm: float

    def x_mm(self, presented_mm: float) -> float:
        """Return x in the block's frame for a distance from the presented datum."""
        along = presented_mm + self.datum_offset_mm
        return self.block.outline.length_mm - along if self.flipped else along

    def y_mm(self, presented_mm: float | None) -> float | None:
        """Return y in the block's frame."""
        if presented_mm is None:
            return None
        return self.block.outline.width_mm - presented_mm if self.flipped else presented_mm

    def presented_x_mm(self, x_mm: float) -> float:
        """Return the distance from the presented datum for x in the block's frame."""
        along = self.block.outline.length_mm - x_mm if self.flipped else x_mm
        return along - self.datum_offset_mm

    @property
    def units(self) -> Sequence[GradingUnit]:
        """The grading units in the order of presentation."""
        units = self.block.grading_units
        return tuple(reversed(units)) if self.flipped else units

    def number_of(self, unit: GradingUnit) -> int:
        """Return the number of a unit, counted from the presented datum, from 1."""
        return [item.id for item in self.units].index(unit.id) + 1
