"""What the command `simulate` is told: probe, conditions, blocks, places of the array."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.blocks.targets import TargetId
from qualify.recording.probe import Probe
from qualify.simulation.conditions import Conditions

MOST_SAMPLES = 32768
NYQUIST = 2.0
LEAST_BANDWIDTH, MOST_BANDWIDTH = 0.1, 1.2


class Positions(BaseModel):
    """Places of the array on one block: over grading units, at places, or over each target."""

    model_config = STRICT
    block: TargetId = Field(description="id of the block")
    units: Literal["all"] | tuple[TargetId, ...] | None = Field(
        None, description="over the middle of grading units: all, or their ids"
    )
    x_mm: tuple[Finite, ...] | None = Field(None, description="or at these places on the block")
    targets: Literal["each"] | None = Field(
        None, description="or over each target: for set-up blocks, for the places tell where it is"
    )
    y_mm: Finite = Field(description="scan line: y of the middle of the array on the block")
    repeats: Annotated[int, Field(ge=1, le=100)] = Field(
        1, description="placings of the probe at each place, coupling and noise anew"
    )
    loss_db: Annotated[float, Field(ge=0, le=120, allow_inf_nan=False)] = Field(
        0.0, description="lost at these places beside the coupling, each way: a probe run dry"
    )
    twins: bool = Field(False, description="each also without its targets, on the same grain")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        given = [self.units is not None, self.x_mm is not None, self.targets is not None]
        if sum(given) != 1:
            msg = f"{sum(given)} of units, x_mm and targets are given; give one of them"
            raise ValueError(msg)
        for name, listed in (("units", self.units), ("x_mm", self.x_mm)):
            if isinstance(listed, tuple) and (not listed or len(set(listed)) < len(listed)):
                msg = f"{name} is empty or holds a value twice; give each place once"
                raise ValueError(msg)
        return self


class SimulationPlan(BaseModel):
    """All of a simulation file."""

    model_config = STRICT
    format: Literal[1] = Field(description="version of this layout; leave it at 1")
    study: TargetId = Field(description="name of the study")
    provenance: Text = Field(description="what is invented, and where the rest comes from")
    seed: Annotated[int, Field(ge=0, lt=2**63)] = Field(
        description="of all that is random; the same seed gives the same recordings"
    )
    sampling_mhz: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] = Field(
        description="sampling rate"
    )
    samples: Annotated[int, Field(ge=64, le=MOST_SAMPLES)] = Field(
        description="samples of each signal, from transmission on"
    )
    matrix: Literal["half", "full"] = Field(
        "half", description="half: each pair of elements once; full: both ways"
    )
    blocks: tuple[Text, ...] = Field(min_length=1, description="block files, relative to this file")
    pore_diameter_mm: Positive | None = Field(
        None, description="diameter of the pores of pore clusters, where a block has any"
    )
    probe: Probe = Field(description="the array, on the scan face")
    conditions: Conditions = Field(description="gain, grain, noise, coupling")
    positions: tuple[Positions, ...] = Field(min_length=1, description="places of the array")

    @model_validator(mode="after")
    def _is_sampled(self) -> Self:
        highest = self.probe.centre_mhz * (1.0 + 0.5 * self.probe.bandwidth_fraction)
        if self.sampling_mhz < NYQUIST * highest:
            msg = (
                f"sampling_mhz {self.sampling_mhz:g} is below twice the highest frequency of the "
                f"probe ({highest:.3g} MHz); sample faster"
            )
            raise ValueError(msg)
        if self.conditions.electronics.noise_to_mhz > 0.5 * self.sampling_mhz:
            msg = "conditions.electronics.noise_to_mhz is above half of sampling_mhz; lower it"
            raise ValueError(msg)
        if not LEAST_BANDWIDTH <= self.probe.bandwidth_fraction <= MOST_BANDWIDTH:
            msg = (
                f"probe.bandwidth_fraction {self.probe.bandwidth_fraction:g} is outside the model; "
                f"give {LEAST_BANDWIDTH:g} to {MOST_BANDWIDTH:g}"
            )
            raise ValueError(msg)
        return self
