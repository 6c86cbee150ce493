"""What a simulated recording is made under: grain, electronics, coupling, receiver.

Levels are declared, never fitted to an outcome. Decibels are of amplitude.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Positive

NO_NAN: dict[str, Any] = {"allow_inf_nan": False}


class Grain(BaseModel):
    """Backscatter of the grain: single scattering of many points.

    `backscatter_db` is 10 lg of the backscatter coefficient at the centre frequency of the probe:
    the differential cross-section of a cubic millimetre, in 1/(mm·sr). `frequency_power` is the
    power of the frequency that the scattered amplitude rises with: 2 in the Rayleigh region.
    """

    model_config = STRICT
    backscatter_db: Annotated[float, Field(ge=-150, le=0, **NO_NAN)] = Field(
        description="10 lg of the backscatter coefficient at the centre frequency, 1/(mm sr)"
    )
    frequency_power: Annotated[float, Field(ge=0, le=4, **NO_NAN)] = Field(
        2.0, description="power of the frequency that the amplitude rises with; 2: Rayleigh region"
    )
    points_per_mm2: Annotated[float, Field(ge=1, le=200, **NO_NAN)] = Field(
        16.0, description="points of the model in a square millimetre of section"
    )
    strengths: Literal["normal", "even"] = Field(
        "normal",
        description="of the points: normal, or even: of one strength and either sign, which "
        "leaves a third of the spikes at the same number of points",
    )
    realisation: Annotated[int, Field(ge=1)] = Field(
        1, description="number of the draw; one block has one grain in one realisation"
    )


class Electronics(BaseModel):
    """Noise of the receiver, ring-down of the elements and cross-talk between them.

    Levels are over full scale.
    """

    model_config = STRICT
    noise_db: Annotated[float, Field(le=0, ge=-200, **NO_NAN)] | None = Field(
        None, description="rms of the electronic noise of each signal, dB over full scale"
    )
    noise_from_mhz: Positive = Field(0.5, description="noise is white from this frequency")
    noise_to_mhz: Positive = Field(12.0, description="to this one")
    ring_down_db: Annotated[float, Field(ge=-200, le=60, **NO_NAN)] | None = Field(
        None, description="peak of an element's ring-down at transmission, dB over full scale"
    )
    ring_down_us: Annotated[float, Field(gt=0, le=10, **NO_NAN)] = Field(
        0.3, description="time in which it falls by e"
    )
    cross_talk_db: Annotated[float, Field(le=0, ge=-200, **NO_NAN)] = Field(
        -20.0, description="what the next element receives of it; as much again per element"
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.noise_to_mhz <= self.noise_from_mhz:
            msg = "noise_to_mhz is not beyond noise_from_mhz; swap or mend them"
            raise ValueError(msg)
        return self


Scatter = Annotated[float, Field(ge=0, le=12, **NO_NAN)]


class Contact(BaseModel):
    """Coupling of the array to the piece, and sensitivity of its elements."""

    model_config = STRICT
    loss_db: Annotated[float, Field(ge=0, le=60, **NO_NAN)] = Field(
        0.0, description="lost going in, and again coming out"
    )
    loss_scatter_db: Scatter = Field(
        0.0, description="its standard deviation from one placing of the probe to the next"
    )
    patch_scatter_db: Scatter = Field(
        0.0, description="standard deviation of its unevenness along the array"
    )
    element_scatter_db: Scatter = Field(
        0.0, description="standard deviation of the elements' sensitivity, fixed to the probe"
    )


class Receiver(BaseModel):
    """Gain and full scale, which signals are clipped to.

    The gain is set once: the echo of a back wall at `set_on_wall_mm`, sent and received by the
    middle element over perfect coupling, peaks at `wall_fraction` of full scale.
    """

    model_config = STRICT
    set_on_wall_mm: Annotated[float, Field(ge=1, le=1000, **NO_NAN)] = Field(
        description="the gain is set on a back wall at this depth, middle element alone"
    )
    wall_fraction: Annotated[float, Field(gt=0, le=10, **NO_NAN)] = Field(
        0.8, description="its echo peaks at this part of full scale"
    )


class Conditions(BaseModel):
    """Everything about a recording but the scene and the probe."""

    model_config = STRICT
    receiver: Receiver = Field(description="gain; signals beyond full scale are clipped")
    grain: Grain | None = Field(None, description="grain of the blocks; none: no grain")
    electronics: Electronics = Field(Electronics(), description="noise and ring-down")
    contact: Contact = Field(Contact(), description="coupling and sensitivity")
