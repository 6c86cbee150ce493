"""As-built values of a quantity and their uncertainty.

A certificate states a standard uncertainty u, or an expanded uncertainty U with its coverage
factor k, or only a tolerance. All are turned into a standard uncertainty after the GUM
(JCGM 100:2008): u = U / k (section 4.3.3, with k as stated) and, for a tolerance of half-width
t that a value is known to lie in, the rectangular distribution's u = t / sqrt(3) (section 4.3.7).
Clause numbers from memory, not checked against the text.
"""

import math
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator


def _number(value: Any) -> Any:
    if isinstance(value, bool):
        msg = f"found {str(value).lower()}; give a number"
        raise ValueError(msg)
    return value


Positive = Annotated[float, Field(gt=0, allow_inf_nan=False), BeforeValidator(_number)]
Finite = Annotated[float, Field(allow_inf_nan=False), BeforeValidator(_number)]
Text = Annotated[str, Field(min_length=1)]

STRICT = ConfigDict(
    frozen=True, extra="forbid", coerce_numbers_to_str=True, str_strip_whitespace=True
)


class Quantity(BaseModel):
    """A nominal and an as-built value of one quantity of a target, in the unit of its name.

    The value that counts is the measured one. A drawing value needs a `waiver`, a sentence
    that says why it may stand in, which every table and page prints.
    """

    model_config = STRICT

    nominal: Finite
    measured: Finite | None = None
    u: Positive | None = None
    U: Positive | None = None
    k: Positive | None = None
    tolerance: Positive | None = None
    method: Text | None = None
    certificate: Text | None = None
    waiver: Text | None = None

    @model_validator(mode="after")
    def _stated_once(self) -> Self:
        if (self.U is None) != (self.k is None):
            msg = "U and k belong together, one is missing; give both"
            raise ValueError(msg)
        stated = [self.u is not None, self.U is not None, self.tolerance is not None]
        if sum(stated) != 1:
            msg = f"{sum(stated)} statements of uncertainty; give u, or U and k, or tolerance"
            raise ValueError(msg)
        if self.measured is None and self.waiver is None:
            msg = "only a drawing value; give the measured value or a waiver"
            raise ValueError(msg)
        if self.measured is not None and (self.method is None or self.certificate is None):
            msg = "a measured value without method or certificate; give both"
            raise ValueError(msg)
        return self

    @property
    def value(self) -> float:
        """The measured value, or the drawing value under its waiver."""
        return self.nominal if self.measured is None else self.measured

    @property
    def basis(self) -> Literal["measured", "drawing"]:
        """Whether `value` is a measured or a drawing value."""
        return "drawing" if self.measured is None else "measured"

    @property
    def standard_uncertainty(self) -> float:
        """Standard uncertainty of `value`, in its unit."""
        if self.u is not None:
            return self.u
        if self.U is not None and self.k is not None:
            return self.U / self.k
        assert self.tolerance is not None
        return self.tolerance / math.sqrt(3)

    @property
    def conversion(self) -> str:
        """How the standard uncertainty came about, in words for tables."""
        if self.u is not None:
            return f"u = {self.u:g} as stated"
        if self.U is not None and self.k is not None:
            return f"u = U/k = {self.U:g}/{self.k:g}"
        return f"u = tolerance/√3 = {self.tolerance:g}/√3"


def expanded(u: float, k: float = 2.0) -> float:
    """Return the expanded uncertainty U = k u (JCGM 100:2008, section 6.2)."""
    return k * u
