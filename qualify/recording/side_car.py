"""The side-car of a measured matrix: a TOML file that says what the numbers of an array are."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.recording.probe import Coupling, Medium, Probe, check_fits
from qualify.recording.record import pair_count

Axis = Literal["transmit", "receive", "sample", "pair"]
BY_ELEMENTS, BY_PAIRS = ("receive", "sample", "transmit"), ("pair", "sample")


class SideCar(BaseModel):
    """The whole of a side-car."""

    model_config = STRICT
    format: Literal[1] = Field(description="version of this layout; leave it at 1")
    array: Text = Field(description="file that holds the matrix, relative to this file")
    array_format: Literal["npy", "npz", "mat"] = Field(
        description="npy or npz: NumPy; mat: MAT-file, version 5 or 7.3"
    )
    variable: Text | None = Field(None, description="name of the array in an npz or mat file")
    matrix: Literal["full", "half"] = Field(
        description="full: every pair of elements; half: each pair once, by reciprocity"
    )
    axes: Annotated[tuple[Axis, ...], Field(min_length=2, max_length=3)] = Field(
        description="what each axis of the array runs over, first axis first, as the array is "
        "shown where it was made: transmit, receive and sample in any order, or pair and sample"
    )
    pair_order: Literal["by_row", "by_column"] | None = Field(
        None,
        description="with a pair axis. Rows are transmitting elements, columns receiving ones; "
        "half, by_row: 1-1, 1-2 … 1-n, 2-2 …; half, by_column: 1-1, 1-2, 2-2, 1-3 …",
    )
    sampling_mhz: Positive = Field(description="sampling frequency, MHz")
    start_us: Finite = Field(description="time of the first sample after transmission, µs")
    zero_level: Finite = Field(0.0, description="value of the array that means no signal")
    full_scale: Positive | None = Field(
        None,
        description="distance from the zero level at which the receiver clips, in the unit of the "
        "array; of integers it is taken from their type",
    )
    gain_db: Finite | None = Field(None, description="gain of the receiver, dB")
    signal: Literal["measured", "simulated"] = Field(description="where the signals come from")
    source: Text = Field(
        description="instrument and record, or the model, in coded words; no names of persons"
    )
    seed: int | None = Field(None, ge=0, description="seed of what is random in a simulation")
    left_out: tuple[Text, ...] = Field((), description="what a simulation leaves out")
    procedure: Text | None = Field(
        None, description="fingerprint of the procedure it was recorded under"
    )
    block: Text | None = Field(None, description="id of the block")
    position_mm: Finite | None = Field(
        None, description="x of the middle of the array on the block, mm"
    )
    probe: Probe = Field(
        description="the array: elements, pitch, width of an element, length of an element across "
        "the array, centre frequency, -6 dB bandwidth over centre frequency"
    )
    coupling: Coupling = Field(
        description='kind "contact"; or "wedge" or "water" with longitudinal_m_per_s, height_mm '
        "of the middle of the array above the scan face, and angle_deg of its tilt"
    )
    medium: Medium = Field(
        description="velocity of the block, its standard uncertainty, and its thickness where a "
        "back wall is to be seen"
    )

    @model_validator(mode="after")
    def _axes_fit(self) -> Self:
        named = tuple(sorted(self.axes))
        if named not in (BY_ELEMENTS, BY_PAIRS):
            msg = (
                f"axes are {', '.join(self.axes)}; name transmit, receive and sample once each, "
                "or pair and sample"
            )
            raise ValueError(msg)
        if self.matrix == "half" and named != BY_PAIRS:
            msg = "half a matrix with axes by elements; give it with axes pair and sample"
            raise ValueError(msg)
        if (self.pair_order is None) == (named == BY_PAIRS):
            axes = ", ".join(self.axes)
            msg = (
                f"axes are {axes}, without pair_order; say whether pairs come by_row or by_column"
                if self.pair_order is None
                else f"pair_order is '{self.pair_order}', and axes are {axes}, without a pair "
                "axis; remove pair_order, or name the axes pair and sample"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if (self.variable is None) != (self.array_format == "npy"):
            msg = (
                f"array_format is '{self.array_format}', without variable; name the array in it"
                if self.variable is None
                else f"variable is '{self.variable}', and array_format is 'npy', which holds one "
                "array without a name; remove variable, or mend array_format"
            )
            raise ValueError(msg)
        if self.signal == "measured" and (self.seed is not None or self.left_out):
            msg = "seed or left_out of a measured matrix; they belong to simulated ones"
            raise ValueError(msg)
        if self.array.startswith(("/", "\\")) or ":" in self.array:
            msg = f"array is '{self.array}'; name the file relative to the side-car"
            raise ValueError(msg)
        check_fits(self.probe, self.coupling, self.sampling_mhz)
        return self

    @property
    def lengths(self) -> dict[str, int]:
        """The length that each axis but the samples' must have."""
        n = self.probe.elements
        pairs = pair_count(n) if self.matrix == "half" else n * n
        return {"transmit": n, "receive": n, "pair": pairs}
