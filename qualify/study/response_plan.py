"""What the plan fixes of recorded responses before truth is opened."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text


class ResponseAnalysis(BaseModel):
    """How the recorded responses of one mode are analysed, fixed before truth is opened.

    A target that was examined and has no response counts as at most the floor; where no response
    below the threshold was recorded, as on call sheets, as at most the threshold of its mode.
    """

    model_config = STRICT
    mode: Text = Field(description="id of the mode; it needs a threshold")
    unit: Literal["db", "linear", "coherence"] = Field(
        description="unit of the responses: db, linear (amplitude), or coherence (0 to 1)"
    )
    size_axis: Literal["log", "linear"] = Field("log", description="axis of size")
    response_axis: Literal["log", "linear", "logit"] = Field(
        description="axis of response: linear for db, log or linear for amplitude, logit for "
        "coherence (or linear with a ceiling)"
    )
    floor: Finite | None = Field(
        None, description="responses at or below it are lost in noise; empty if there is none"
    )
    ceiling: Finite | None = Field(
        None, description="responses at or above it are saturated; empty if there is none"
    )
    law: Literal["gumbel", "gev", "empirical"] = Field(
        "gumbel", description="law of the peak noise of a blank unit"
    )
    declared_rate: Annotated[float, Field(gt=0, le=0.5)] | None = Field(
        None, description="false-call rate per blank unit that the threshold was set for"
    )
    qualification_size_mm: Positive | None = Field(
        None, description="size at which POD is told against the false-call rate, if any"
    )
    reason: Text = Field(description="why these axes and limits, in one sentence")

    @model_validator(mode="after")
    def _axes_fit(self) -> Self:
        axis, unit = self.response_axis, self.unit
        fitting = {"db": ("linear",), "linear": ("log", "linear"), "coherence": ("logit", "linear")}
        if axis not in fitting[unit]:
            msg = f"response_axis '{axis}' of unit '{unit}'; use {' or '.join(fitting[unit])}"
            raise ValueError(msg)
        if unit == "coherence" and axis == "linear" and self.ceiling is None:
            msg = "coherence on a linear axis without a ceiling; give ceiling, or use logit"
            raise ValueError(msg)
        low, high = self.floor, self.ceiling
        if low is not None and high is not None and low >= high:
            msg = f"floor {low:g} is not below ceiling {high:g}; mend them"
            raise ValueError(msg)
        return self
