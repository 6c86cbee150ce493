"""The kinds of target and their quantities.

Frame of a flat block: x along the length from the end engraved 0, y across the width from
edge L, z depth from scan face A. Millimetres and degrees. Tilt of a notch is measured from
the normal of the scan face, tilt of an embedded slot from the scan face (0 = parallel to it).
"""

import math
from abc import ABC, abstractmethod
from typing import Annotated, ClassVar, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Quantity, Text

TargetId = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.\-]*$")]


class TargetBase(BaseModel, ABC):
    """What all kinds share: id, position of the centre, and the size by which POD is told."""

    model_config = STRICT
    size_quantity: ClassVar[str]
    kind_in_words: ClassVar[str]

    id: TargetId
    x_mm: Finite
    z_mm: Finite
    position_u_mm: Positive
    note: Text | None = None

    @property
    def kind_name(self) -> str:
        """The kind as files name it."""
        return str(getattr(self, "kind"))  # noqa: B009

    def quantities(self) -> dict[str, Quantity]:
        """Return the quantities of this target by name."""
        pairs = ((name, getattr(self, name)) for name in type(self).model_fields)
        return {name: value for name, value in pairs if isinstance(value, Quantity)}

    @property
    def size(self) -> Quantity:
        """The quantity that is this kind's size unless the plan says otherwise."""
        quantity = getattr(self, self.size_quantity)
        assert isinstance(quantity, Quantity)
        return quantity

    @property
    @abstractmethod
    def y_span_mm(self) -> tuple[float, float]:
        """From where to where the target lies across the block."""

    @property
    def y_mm(self) -> float:
        """Centre across the block."""
        return sum(self.y_span_mm) / 2

    @property
    def tilt(self) -> float | None:
        """Tilt in degrees, None where the kind has none."""
        quantity = getattr(self, "tilt_deg", None)
        return quantity.value if isinstance(quantity, Quantity) else None

    @property
    @abstractmethod
    def half_extent_mm(self) -> tuple[float, float]:
        """Half extents of the target in x and z, for the drawing, the outline and the box."""

    @model_validator(mode="after")
    def _lengths_are_positive(self) -> Self:
        for name, quantity in self.quantities().items():
            if name.endswith("_deg"):
                continue
            for label in ("nominal", "measured"):
                value = getattr(quantity, label)
                if value is not None and value <= 0:
                    msg = f"{name}.{label} is {value:g}; give a size above 0"
                    raise ValueError(msg)
        return self


class _Across(TargetBase):
    """A target that runs across the block from `y_from_mm` to `y_to_mm`."""

    y_from_mm: Finite
    y_to_mm: Finite

    @property
    def y_span_mm(self) -> tuple[float, float]:
        return (self.y_from_mm, self.y_to_mm)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.y_to_mm <= self.y_from_mm:
            msg = f"y_to_mm {self.y_to_mm:g} is not beyond y_from_mm; swap or mend them"
            raise ValueError(msg)
        return self


class SideDrilledHole(_Across):
    """A hole along y; its centre is at (x, z)."""

    size_quantity: ClassVar[str] = "diameter_mm"
    kind_in_words: ClassVar[str] = "side-drilled hole"
    kind: Literal["side_drilled_hole"]
    diameter_mm: Quantity

    @property
    def half_extent_mm(self) -> tuple[float, float]:
        return (self.diameter_mm.value / 2,) * 2


class EmbeddedSlot(_Across):
    """A narrow slot along y; its extent is measured along its face, its tilt from face A."""

    size_quantity: ClassVar[str] = "extent_mm"
    kind_in_words: ClassVar[str] = "embedded slot"
    kind: Literal["embedded_slot"]
    extent_mm: Quantity
    tilt_deg: Quantity
    width_mm: Positive

    @property
    def half_extent_mm(self) -> tuple[float, float]:
        tilt, half = math.radians(self.tilt_deg.value), self.extent_mm.value / 2
        return (half * abs(math.cos(tilt)), half * abs(math.sin(tilt)))


class Notch(TargetBase):
    """A notch open to face A or B; its height is the through-wall extent projected on z.

    `z_mm` is the depth of the middle of its height.
    """

    size_quantity: ClassVar[str] = "height_mm"
    kind_in_words: ClassVar[str] = "notch"
    kind: Literal["notch"]
    y_centre_mm: Finite
    face: Literal["A", "B"]
    along: Literal["x", "y"]
    length_mm: Quantity
    height_mm: Quantity
    tilt_deg: Quantity
    width_mm: Positive

    @property
    def y_span_mm(self) -> tuple[float, float]:
        half = (self.length_mm.value if self.along == "y" else self.width_mm) / 2
        return (self.y_centre_mm - half, self.y_centre_mm + half)

    @property
    def half_extent_mm(self) -> tuple[float, float]:
        if self.along == "x":
            return (self.length_mm.value / 2, self.height_mm.value / 2)
        lean = self.height_mm.value * abs(math.tan(math.radians(self.tilt_deg.value)))
        return (max(self.width_mm, lean) / 2, self.height_mm.value / 2)


class FlatBottomedHole(TargetBase):
    """A hole drilled from face B; `z_mm` is the distance of its flat end from face A."""

    size_quantity: ClassVar[str] = "diameter_mm"
    kind_in_words: ClassVar[str] = "flat-bottomed hole"
    kind: Literal["flat_bottomed_hole"]
    y_centre_mm: Finite
    diameter_mm: Quantity

    @property
    def y_span_mm(self) -> tuple[float, float]:
        half = self.diameter_mm.value / 2
        return (self.y_centre_mm - half, self.y_centre_mm + half)

    @property
    def half_extent_mm(self) -> tuple[float, float]:
        return (self.diameter_mm.value / 2, 0.0)


class PoreCluster(_Across):
    """A band of small pores or holes; a surrogate, not damage. `z_mm` is the band's middle."""

    size_quantity: ClassVar[str] = "band_thickness_mm"
    kind_in_words: ClassVar[str] = "pore cluster"
    kind: Literal["pore_cluster"]
    band_thickness_mm: Quantity
    areal_fraction: Quantity
    length_mm: Quantity

    @property
    def half_extent_mm(self) -> tuple[float, float]:
        return (self.length_mm.value / 2, self.band_thickness_mm.value / 2)

    @model_validator(mode="after")
    def _is_a_fraction(self) -> Self:
        if self.areal_fraction.value >= 1:
            msg = f"areal_fraction is {self.areal_fraction.value:g}; give a fraction below 1"
            raise ValueError(msg)
        return self


Target = Annotated[
    SideDrilledHole | Notch | FlatBottomedHole | EmbeddedSlot | PoreCluster,
    Field(discriminator="kind"),
]
KINDS: dict[str, type[TargetBase]] = {
    "side_drilled_hole": SideDrilledHole,
    "notch": Notch,
    "flat_bottomed_hole": FlatBottomedHole,
    "embedded_slot": EmbeddedSlot,
    "pore_cluster": PoreCluster,
}


def quantities_of(kind: str) -> tuple[str, ...]:
    """Return the names of a kind's quantities."""
    fields = KINDS[kind].model_fields
    return tuple(name for name, field in fields.items() if field.annotation is Quantity)
