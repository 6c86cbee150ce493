"""What the command `read` is told: the rule, how its thresholds are set, the models of readers.

It is part of what is frozen before truth is opened.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.blocks.targets import TargetId
from qualify.imaging.region import Box
from qualify.reading.detection import Looking
from qualify.reading.extent import Method
from qualify.reading.reader_model import ModelReader
from qualify.study.imaging_plan import Extent

FILE = "reading.toml"
Rate = Annotated[float, Field(gt=0, le=0.5)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Spread = Annotated[float, Field(ge=0, le=20, allow_inf_nan=False)]


def is_reading(told: Mapping[str, Any]) -> bool:
    """Return whether a TOML file means to be a reading file."""
    return {"declared_rate", "open_blocks"} <= told.keys()


class Masked(Extent):
    """A part of the region that the rule does not look at in a mode, and why."""

    reason: Text = Field(description="what is seen there that is no flaw, as ring-down, geometry")


class ReadMode(BaseModel):
    """How one mode is read by rule."""

    model_config = STRICT
    name: Text = Field(description="mode, by its name in the imaging file")
    size_method: Method = Field(
        description="method that sizes its indications: six_db_drop, tip_separation or "
        "coherence_extent"
    )
    also: tuple[Method, ...] = Field((), description="methods told beside it, for comparison")
    masks: tuple[Masked, ...] = Field((), description="parts not looked at in this mode")
    control_in: Text | None = Field(
        None,
        description="mode whose image of the same recording has to show the known echo; else this "
        "mode's own (a flat back wall is coherent for few pairs of elements)",
    )


class ReaderRow(BaseModel):
    """A model of one human reader on the images: no person read, and the numbers are invented."""

    model_config = STRICT
    reader: Text = Field(description="id, as in the call sheets")
    caution_db: Finite = Field(description="this reader's threshold over the rule's")
    scatter_db: Spread = Field(description="its standard deviation from look to look")
    lapse_fraction: Share = Field(description="share of indications that are overlooked")
    x_sd_mm: Spread = Field(description="standard deviation of reported x")
    z_sd_mm: Spread = Field(description="standard deviation of reported z")
    slip_fraction: Share = Field(description="share of depths written wrong by 5 to 9 mm")
    size_sd_fraction: Share = Field(description="standard deviation of sizes, part of the size")
    unsized_fraction: Share = Field(description="share of indications not sized")
    given_up_fraction: Share = Field(description="share of units given up")
    bands_in: Text | None = Field(
        None, description="mode in which a band is marked, from one empty unit into the next"
    )

    def model(self) -> ModelReader:
        """Return it as the model takes it."""
        return ModelReader(**self.model_dump(exclude={"bands_in"}))


class ReadingPlan(BaseModel):
    """The whole of `reading.toml`."""

    model_config = STRICT
    format: Literal[1] = Field(description="version of this layout; leave it at 1")
    study: Text = Field(description="id of the study, the same in all of its files")
    provenance: Text = Field(description="what is invented, and where the rest comes from")
    seed: Annotated[int, Field(ge=0, lt=2**53)] = Field(
        description="of the limits of the false-call rate, and of the models of readers"
    )
    reader: Text = Field("rule", description="id under which the rule's calls stand")
    declared_rate: Rate = Field(
        description="false-call rate per blank unit that thresholds are set for, alike in all modes"
    )
    open_blocks: tuple[TargetId, ...] = Field(
        min_length=1, description="blocks whose truth is open; thresholds come from their blanks"
    )
    smooth_mm: Positive = Field(4.0, description="the background is averaged over so much depth")
    reference_z_mm: Positive = Field(description="responses are told as at this depth")
    group_x_mm: Positive = Field(description="what lies no farther apart along x is one indication")
    group_z_mm: Positive = Field(description="and in depth")
    region: Extent = Field(description="looked at in every mode, in the frame of the recording")
    modes: tuple[ReadMode, ...] = Field(min_length=1, description="the modes that are read")
    readers: tuple[ReaderRow, ...] = Field((), description="models of readers, if any")
    model_modes: tuple[Text, ...] = Field((), description="modes that they read")

    @model_validator(mode="after")
    def _names_agree(self) -> Self:
        names = [mode.name for mode in self.modes]
        ids = [self.reader, *(row.reader for row in self.readers)]
        for what, listed in (("mode", names), ("reader", ids)):
            twice = sorted({name for name in listed if listed.count(name) > 1})
            if twice:
                msg = f"{what} '{twice[0]}' stands twice; give it once"
                raise ValueError(msg)
        unknown = [name for name in self.model_modes if name not in names]
        if unknown:
            msg = f"model_modes names '{unknown[0]}', which is not read; list it under modes"
            raise ValueError(msg)
        if self.readers and not self.model_modes:
            msg = "readers without model_modes; say which modes they read"
            raise ValueError(msg)
        return self

    def looking(self, mode: str) -> Looking:
        """Return where and how finely the rule looks in a mode."""
        masks = tuple(mask.box() for mask in self.mode(mode).masks)
        return Looking(self.region.box(), masks, self.group_x_mm, self.group_z_mm)

    def mode(self, name: str) -> ReadMode:
        """Return the mode of this name."""
        return next(mode for mode in self.modes if mode.name == name)

    def boxes(self) -> list[tuple[str, Box, str]]:
        """Return mode, box and reason of every mask."""
        return [(mode.name, mask.box(), mask.reason) for mode in self.modes for mask in mode.masks]
