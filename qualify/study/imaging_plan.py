"""What the command `image` is told: region, modes, and what is asked of the quality of images."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.imaging.fidelity import LIMIT_DB
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Mode
from qualify.imaging.region import CLOSE_MM, Box
from qualify.recording.gate import GateLimits

FILE = "imaging.toml"
MOST_PIXELS = 4_000_000
Depth = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class Extent(BaseModel):
    """A rectangle in the frame of the recording: x from the array's middle, z from the face."""

    model_config = STRICT
    x_from_mm: Finite = Field(description="first x, from the middle of the array")
    x_to_mm: Finite = Field(description="last x")
    z_from_mm: Depth = Field(description="first depth below the scan face")
    z_to_mm: Positive = Field(description="last depth")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for axis in ("x", "z"):
            if getattr(self, f"{axis}_to_mm") <= getattr(self, f"{axis}_from_mm"):
                msg = f"{axis}_to_mm is not beyond {axis}_from_mm; swap or mend them"
                raise ValueError(msg)
        return self

    def box(self) -> Box:
        """Return it as a box of the image."""
        return Box((self.x_from_mm, self.x_to_mm), (self.z_from_mm, self.z_to_mm))


class Region(Extent):
    """The region that all modes are imaged on."""

    step_mm: Positive = Field(description="from pixel to pixel along x, and in depth")
    step_z_mm: Positive | None = Field(None, description="in depth, where it is another")

    @model_validator(mode="after")
    def _of_a_size(self) -> Self:
        grid = self.grid()
        if grid.rows * grid.columns > MOST_PIXELS:
            msg = (
                f"the region has {grid.columns} x {grid.rows} pixels; give at most "
                f"{MOST_PIXELS} in all"
            )
            raise ValueError(msg)
        return self

    def grid(self) -> Grid:
        """Return the grid over the region."""
        return Grid.over(
            (self.x_from_mm, self.x_to_mm),
            (self.z_from_mm, self.z_to_mm),
            self.step_mm,
            self.step_z_mm,
        )


class Place(BaseModel):
    """A point in the frame of the recording."""

    model_config = STRICT
    x_mm: Finite
    z_mm: Positive


class LookedAt(Extent):
    """A place whose echo is weighed against noise and against the same place without a flaw."""

    name: Text = Field(description="its name in the results")


def _in_order(x_from_mm: float, x_to_mm: float) -> None:
    if x_to_mm <= x_from_mm:
        msg = "x_to_mm is not beyond x_from_mm; swap or mend them"
        raise ValueError(msg)


class Control(BaseModel):
    """A known echo that every image has to show, as that of the back wall."""

    model_config = STRICT
    depth_mm: Positive = Field(description="its true depth")
    x_from_mm: Finite = Field(description="it is looked for from this x")
    x_to_mm: Finite = Field(description="to this x")
    search_mm: Positive = Field(description="it is looked for so far above and below")
    limit_mm: Positive = Field(description="largest error of its depth, less than search_mm")
    least_db: Finite = Field(description="least level in amplitude images, dB re full scale")
    least_coherence: Annotated[float, Field(ge=0, le=1)] = Field(
        description="least coherence in coherence images"
    )

    @model_validator(mode="after")
    def _can_be_seen(self) -> Self:
        _in_order(self.x_from_mm, self.x_to_mm)
        if self.search_mm <= self.limit_mm:
            msg = f"search_mm {self.search_mm:g} cannot show an error beyond limit_mm; widen it"
            raise ValueError(msg)
        return self


class NearSurface(BaseModel):
    """How the dead zone is looked for in the flaw-free twin, at each mode's threshold."""

    model_config = STRICT
    x_from_mm: Finite = Field(description="looked at from this x")
    x_to_mm: Finite = Field(description="to this x")
    search_to_mm: Positive = Field(description="down to this depth, well above the back wall")
    clear_mm: Positive = Field(description="so much above the end must stay below the threshold")

    @model_validator(mode="after")
    def _across(self) -> Self:
        _in_order(self.x_from_mm, self.x_to_mm)
        return self


class ImagingPlan(BaseModel):
    """All of an imaging file."""

    model_config = STRICT
    format: Literal[1] = Field(description="version of this layout; leave it at 1")
    amplitude_range_db: Positive = Field(
        40.0, description="colours of amplitude images run over so many dB"
    )
    amplitude_top_db: Finite | None = Field(
        None, description="where they end, else at the largest value; give it to compare recordings"
    )
    scale_bar_mm: Positive | None = Field(
        None, description="length of the scale bar, else a round one that fits"
    )
    fidelity_limit_db: Positive = Field(
        LIMIT_DB, description="most that the grid may lose of the peak of a point"
    )
    fidelity_points: tuple[Place, ...] = Field(
        (), description="points at which the loss of the grid is computed, in amplitude modes"
    )
    region: Region = Field(description="the region that all modes are imaged on")
    modes: tuple[Mode, ...] = Field(min_length=1, description="the modes, one or more")
    noise: Extent | None = Field(None, description="where noise is taken from")
    looked_at: tuple[LookedAt, ...] = Field(
        (), description="places weighed against noise and against the flaw-free twin"
    )
    control: Control | None = Field(
        None, description="a known echo that every image has to show, as of the back wall"
    )
    near_surface: NearSurface | None = Field(
        None, description="how the dead zone is looked for in the flaw-free twin, at thresholds"
    )
    gate: GateLimits | None = Field(None, description="limits of the gate, where not the defaults")

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        for what, names in (
            ("modes", [mode.name for mode in self.modes]),
            ("looked_at", [place.name for place in self.looked_at]),
        ):
            twice = {name for name in names if names.count(name) > 1}
            if twice:
                msg = f"{what} holds '{min(twice)}' twice; give each a name of its own"
                raise ValueError(msg)
        width = self.region.x_to_mm - self.region.x_from_mm
        if self.scale_bar_mm is not None and self.scale_bar_mm > width:
            msg = f"scale_bar_mm {self.scale_bar_mm:g} is longer than the region; shorten it"
            raise ValueError(msg)
        if self.looked_at and self.noise is None:
            msg = "looked_at is given without noise; give the region that noise is taken from"
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _inside(self) -> Self:
        region = self.region
        outside = [name for name, box in self._places() if not _holds(region.box(), box)]
        if outside:
            msg = (
                f"{_listed(outside)} not wholly within the region, {_extent(region.box())}; move "
                "what lies outside, or widen the region"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _noise_apart(self) -> Self:
        if self.noise is not None:
            noise = self.noise.box()
            met = [f"'{place.name}'" for place in self.looked_at if noise.meets(place.box())]
            if met:
                msg = (
                    f"the noise region, {_extent(noise)}, meets looked_at {', '.join(met)}; noise "
                    "is taken where no flaw is looked for, keep them apart"
                )
                raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _near_surface_has_pixels(self) -> Self:
        asked = self.near_surface
        if asked is not None:
            searched = Box((asked.x_from_mm, asked.x_to_mm), (0.0, asked.search_to_mm))
            if not searched.holds(self.region.grid()).any():
                msg = (
                    f"near_surface, {_extent(searched)}, holds no pixel of the region; widen it, "
                    "or give the region smaller steps"
                )
                raise ValueError(msg)
        return self

    def _places(self) -> Iterator[tuple[str, Box]]:
        """Yield name and box of every place asked about; of a depth alone a box of no height."""
        if self.noise is not None:
            yield "noise", self.noise.box()
        for place in self.looked_at:
            yield f"looked_at '{place.name}'", place.box()
        if (known := self.control) is not None:
            yield "control", Box((known.x_from_mm, known.x_to_mm), (known.depth_mm,) * 2)
        if (near := self.near_surface) is not None:
            yield "near_surface", Box((near.x_from_mm, near.x_to_mm), (near.search_to_mm,) * 2)
        for number, point in enumerate(self.fidelity_points, start=1):
            yield f"fidelity_points.{number}", Box((point.x_mm,) * 2, (point.z_mm,) * 2)


def _holds(region: Box, place: Box) -> bool:
    return all(
        outer[0] - CLOSE_MM <= inner[0] and inner[1] <= outer[1] + CLOSE_MM
        for outer, inner in ((region.x_mm, place.x_mm), (region.z_mm, place.z_mm))
    )


def _extent(box: Box) -> str:
    return f"x {box.x_mm[0]:g} to {box.x_mm[1]:g} mm, z {box.z_mm[0]:g} to {box.z_mm[1]:g} mm"


def _listed(names: list[str]) -> str:
    return f"{', '.join(names)} {'lies' if len(names) == 1 else 'lie'}"
