"""What a mode computes, as a user declares it.

A mode is a way of focusing (`linear`, `sectorial`, `total_focusing`) and what is shown of it: the
amplitude of the sum, a measure of coherence of the phases, or the amplitude weighted by one.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive

MOST_BEAMS = 10_000
Angle = Annotated[float, Field(gt=-80, lt=80)]
Focusing = Literal["linear", "sectorial", "total_focusing"]
Measure = Literal[
    "vector_coherence", "phase_coherence_factor", "sign_coherence_factor", "coherence_factor"
]
Show = Literal["amplitude", "coherence", "weighted_amplitude"]
FOCUSING_WORDS: dict[str, str] = {
    "linear": "linear scan",
    "sectorial": "sectorial scan",
    "total_focusing": "total focusing",
}
MEASURE_WORDS: dict[str, str] = {
    "vector_coherence": "vector coherence",
    "phase_coherence_factor": "phase coherence factor",
    "sign_coherence_factor": "sign coherence factor",
    "coherence_factor": "coherence factor",
}


class Corrections(BaseModel):
    """Weights of the elements at each pixel, for amplitudes only; coherence weighs all alike.

    Attributes
    ----------
    window : over the elements of the aperture.
    directivity : weigh with the directivity of a strip of the element's width.
    spreading : multiply by the root of the distance of each leg (two-dimensional spreading).
    """

    model_config = STRICT
    window: Literal["none", "hann"] = Field("none", description="over the aperture: none or hann")
    directivity: bool = Field(False, description="weigh with the directivity of one element")
    spreading: bool = Field(False, description="multiply by the root of each leg's length")


def _told(words: str) -> Any:
    return Field(None, description=words)


class Mode(BaseModel):
    """One imaging mode."""

    model_config = STRICT
    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.\-]*$")] = Field(
        description="letters, digits, _ . -; also the name of its files"
    )
    focusing: Focusing = Field(description="how elements are focused")
    show: Show = Field(
        "amplitude", description="what is shown: amplitudes in dB, a coherence from 0 to 1"
    )
    measure: Measure | None = _told(
        "measure of the coherence; none where the amplitude alone is shown"
    )
    pairs: Literal["all", "receive"] = Field(
        "all", description="coherence over all pairs, or over receivers after focusing"
    )
    aperture_elements: Annotated[int, Field(ge=2)] | None = _told(
        "elements of a beam; of a sectorial scan those in the middle, else all"
    )
    focus_mm: Positive | None = _told("range of the focus along a beam; none: no focus")
    angle_from_deg: Angle | None = _told("first angle of a sectorial scan, in the block")
    angle_to_deg: Angle | None = _told("last angle of a sectorial scan")
    angle_step_deg: Positive | None = _told("step between its beams")
    largest_angle_deg: Annotated[float, Field(gt=0, le=90)] | None = _told(
        "total focusing: elements that see a pixel under a larger angle take no part"
    )
    least_elements: Annotated[int, Field(ge=2)] | None = _told(
        "total focusing: where fewer elements take part nothing is covered; else fewer than 2"
    )
    threshold: Finite | None = _told("decision threshold, in the unit shown (dB re full scale)")
    corrections: Corrections = Field(
        Corrections(), description="weights of the elements, for amplitudes only"
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        wants = self.show != "amplitude"
        if wants and self.measure is None:
            msg = f"show = '{self.show}' names no measure; give measure, as 'vector_coherence'"
            raise ValueError(msg)
        if not wants and self.measure is not None:
            msg = "measure is given, and the amplitude is shown; remove it or change show"
            raise ValueError(msg)
        if self.show == "coherence" and not 0.0 <= (self.threshold or 0.0) <= 1.0:
            msg = f"threshold is {self.threshold:g}; a coherence lies between 0 and 1"
            raise ValueError(msg)
        if self.pairs == "receive" and not wants:
            msg = "pairs = 'receive' needs a coherence; remove it or change show"
            raise ValueError(msg)
        allowed = {
            "linear": ("aperture_elements", "focus_mm"),
            "sectorial": (
                "aperture_elements",
                "focus_mm",
                "angle_from_deg",
                "angle_to_deg",
                "angle_step_deg",
            ),
            "total_focusing": ("largest_angle_deg", "least_elements"),
        }[self.focusing]
        every = (
            "aperture_elements", "focus_mm", "angle_from_deg", "angle_to_deg", "angle_step_deg",
            "largest_angle_deg", "least_elements",
        )  # fmt: skip
        for name in every:
            if name not in allowed and getattr(self, name) is not None:
                msg = f"{name} has no meaning in a {FOCUSING_WORDS[self.focusing]}; remove it"
                raise ValueError(msg)
        if self.focusing == "linear" and self.aperture_elements is None:
            msg = "a linear scan has no aperture; give aperture_elements"
            raise ValueError(msg)
        if self.focusing == "sectorial":
            ends = (self.angle_from_deg, self.angle_to_deg, self.angle_step_deg)
            if None in ends:
                msg = "a sectorial scan needs its angles; give angle_from_deg, _to_deg, _step_deg"
                raise ValueError(msg)
            assert self.angle_from_deg is not None and self.angle_to_deg is not None  # noqa: PT018
            if self.angle_to_deg <= self.angle_from_deg:
                msg = "angle_to_deg is not beyond angle_from_deg; swap or mend them"
                raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _few_beams(self) -> Self:
        if self.angle_from_deg is None or self.angle_to_deg is None or self.angle_step_deg is None:
            return self
        beams = (self.angle_to_deg - self.angle_from_deg) / self.angle_step_deg + 1.0
        if beams > MOST_BEAMS:
            msg = (
                f"angle_step_deg {self.angle_step_deg:g} makes {beams:.3g} beams; give at most "
                f"{MOST_BEAMS}"
            )
            raise ValueError(msg)
        return self

    def in_words(self) -> str:
        """Return what is computed, for a caption."""
        head = FOCUSING_WORDS[self.focusing]
        if self.focusing == "linear":
            focus = "no focus" if self.focus_mm is None else f"focus at {self.focus_mm:g} mm"
            head = f"{head}, {self.aperture_elements} elements, {focus}"
        elif self.focusing == "sectorial":
            size = "all" if self.aperture_elements is None else self.aperture_elements
            focus = "no focus" if self.focus_mm is None else f"focus at {self.focus_mm:g} mm"
            angles = f"{self.angle_from_deg:g}° to {self.angle_to_deg:g}°"
            head = f"{head}, {angles} in {self.angle_step_deg:g}°, {size} elements, {focus}"
        elif self.largest_angle_deg is not None:
            head = f"{head} within {self.largest_angle_deg:g}°"
        if self.measure is None:
            return f"{head}: amplitude{self._corrected()}"
        over = "all pairs" if self.pairs == "all" else "receivers"
        measure = f"{MEASURE_WORDS[self.measure]} over {over}"
        weighted = ""
        if self.show == "weighted_amplitude":
            weighted = f"amplitude{self._corrected()} weighted by "
        return f"{head}: {weighted}{measure}"

    def _corrected(self) -> str:
        asked = self.corrections
        words = [
            words
            for words, is_asked in (
                (f"{asked.window} window", asked.window != "none"),
                ("directivity", asked.directivity),
                ("spreading", asked.spreading),
            )
            if is_asked
        ]
        return f" ({', '.join(words)})" if words else ""
