"""What a simulated recording is made under: grain, electronics, coupling, receiver.

Levels are declared, never fitted to an outcome. Decibels are of amplitude.
"""

from typing import Annotated

from pydantic import BaseModel, Field

from qualify.blocks.metrology import STRICT, Positive

Scatter = Annotated[float, Field(ge=0, le=12, allow_inf_nan=False)]
Level = Annotated[float, Field(le=0, ge=-200, allow_inf_nan=False)]


class Grain(BaseModel):
    """Backscatter of the grain: single scattering of many points.

    `backscatter_db` is 10 lg of the backscatter coefficient at the centre frequency of the probe:
    the differential cross-section of a cubic millimetre, in 1/(mm·sr). `frequency_power` is the
    power of the frequency that the scattered amplitude rises with: 2 in the Rayleigh region.
    `realisation` is the number of the draw: the same block has the same grain in all recordings
    of one realisation.
    """

    model_config = STRICT
    backscatter_db: Annotated[float, Field(ge=-150, le=0, allow_inf_nan=False)]
    frequency_power: Annotated[float, Field(ge=0, le=4, allow_inf_nan=False)] = 2.0
    points_per_mm2: Annotated[float, Field(ge=1, le=200, allow_inf_nan=False)] = 12.5
    realisation: Annotated[int, Field(ge=1)] = 1


class Electronics(BaseModel):
    """Noise of the receiver, ring-down of the elements and cross-talk between them.

    Levels are over full scale: `noise_db` the rms of each signal, `ring_down_db` the peak of an
    element's own ring-down at transmission, which falls by e every `ring_down_us`;
    `cross_talk_db` what a neighbour receives of it, falling by as much again per element.
    """

    model_config = STRICT
    noise_db: Level | None = None
    noise_from_mhz: Positive = 0.5
    noise_to_mhz: Positive = 12.0
    ring_down_db: Annotated[float, Field(ge=-200, le=60, allow_inf_nan=False)] | None = None
    ring_down_us: Positive = 0.3
    cross_talk_db: Level = -20.0


class Contact(BaseModel):
    """Coupling of the array to the piece.

    `loss_db` is lost going in and again coming out; `loss_scatter_db` is the standard deviation
    of that loss from one position to the next, `patch_scatter_db` that of its unevenness along
    the array, `element_scatter_db` that of the sensitivity of the elements, which stays with the
    probe.
    """

    model_config = STRICT
    loss_db: Annotated[float, Field(ge=0, le=60, allow_inf_nan=False)] = 0.0
    loss_scatter_db: Scatter = 0.0
    patch_scatter_db: Scatter = 0.0
    element_scatter_db: Scatter = 0.0


class Receiver(BaseModel):
    """Gain and full scale, which signals are clipped to.

    The gain is set once: the echo of a back wall at `set_on_wall_mm`, sent and received by the
    middle element over perfect coupling, peaks at `wall_fraction` of full scale.
    """

    model_config = STRICT
    set_on_wall_mm: Positive
    wall_fraction: Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)] = 0.8


class Conditions(BaseModel):
    """Everything about a recording but the scene and the probe."""

    model_config = STRICT
    receiver: Receiver
    grain: Grain | None = None
    electronics: Electronics = Electronics()
    contact: Contact = Contact()
