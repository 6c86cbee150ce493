"""A model of human readers who read images: no person read, and every number of it is declared.

A reader looks at the same images as the rule. At each look at a unit the reader's threshold lies
`caution_db` above the rule's, with a scatter of `scatter_db`; what an image shows above it is
marked, less what is overlooked. Two readers err on the same echo because they see the same image,
in no other way: fatigue, learning and talk are not in the model, nor is a reader's eye for shapes.
Positions and sizes are those of the rule with errors added.
"""

from dataclasses import dataclass, replace

import numpy as np

from qualify.imaging.grid import Image
from qualify.reading.detection import Background, Looking, groups, responses
from qualify.reading.extent import Method, extent_of

WRONG_BY_MM = (5.0, 9.0)
LEAST_SIZE_MM = 0.3  # nobody reports less
MOST_COHERENCE = 0.98  # no reader waits for a threshold that nothing can reach
CLEAR_DB, STEP_DB = 3.0, 3.0
UNCLEAR = ("flaw", "unclear", "grain")
CAUSE_OF_WEAK, CAUSE_OF_CLEAR = (0.6, 0.3, 0.1), (0.95, 0.05, 0.0)


@dataclass(frozen=True, slots=True)
class ModelReader:
    """The numbers of one reader; see `qualify.study.reading_plan.ReaderRow`."""

    reader: str
    caution_db: float
    scatter_db: float
    lapse_fraction: float
    x_sd_mm: float
    z_sd_mm: float
    slip_fraction: float
    size_sd_fraction: float
    unsized_fraction: float
    given_up_fraction: float


@dataclass(frozen=True, slots=True)
class Rule:
    """The rule of a mode: where it looks, its background and threshold, how it sizes."""

    looking: Looking
    background: Background
    threshold: float
    method: Method


@dataclass(frozen=True, slots=True)
class Seen:
    """An indication in the frame of the recording, millimetres.

    Attributes
    ----------
    response : in the unit of the image. size_mm : None with `size_reason`.
    confidence, cause : as a reader writes them; None of the rule.
    """

    x_mm: float
    z_mm: float
    length_x_mm: float
    response: float
    size_mm: float | None
    size_reason: str | None
    confidence: int | None = None
    cause: str | None = None


def seen_by_rule(image: Image, rule: Rule) -> tuple[Seen, ...]:
    """Return the indications of an image, read by rule."""
    return _marked(image, rule, rule.threshold)


def seen_by_model(
    image: Image, rule: Rule, reader: ModelReader, rng: np.random.Generator
) -> tuple[Seen, ...] | None:
    """Return what a modelled reader marks in an image; None where the unit was given up."""
    if rng.random() < reader.given_up_fraction:
        return None
    asked_db = reader.caution_db + reader.scatter_db * float(rng.standard_normal())
    found = []
    for one in _marked(image, rule, raised(rule.threshold, asked_db, image)):
        if rng.random() >= reader.lapse_fraction:
            found.append(_written(one, image, rule, reader, rng))
    return tuple(found)


def raised(threshold: float, by_db: float, image: Image) -> float:
    """Return a threshold raised by decibels; of a coherence, its value times their ratio."""
    if image.unit == "db":
        return threshold + by_db
    return float(min(MOST_COHERENCE, threshold * 10.0 ** (by_db / 20.0)))


def _marked(image: Image, rule: Rule, threshold: float) -> tuple[Seen, ...]:
    response = responses(image, rule.background, rule.looking)
    found = []
    for group in groups(image, response, threshold, rule.looking):
        size = extent_of(image, group, rule.background, rule.looking, rule.method)
        found.append(
            Seen(group.x_mm, group.z_mm, group.width_mm, group.response, size.mm, size.reason)
        )
    return tuple(found)


def _written(
    one: Seen, image: Image, rule: Rule, reader: ModelReader, rng: np.random.Generator
) -> Seen:
    """Return an indication as a reader writes it down."""
    x, z = rng.normal((one.x_mm, one.z_mm), (reader.x_sd_mm, reader.z_sd_mm))
    if rng.random() < reader.slip_fraction:
        z += rng.choice((-1.0, 1.0)) * rng.uniform(*WRONG_BY_MM)
    (low_x, high_x), (low_z, high_z) = rule.looking.region.x_mm, rule.looking.region.z_mm
    size, reason = one.size_mm, one.size_reason
    factor = 1.0 + reader.size_sd_fraction * float(rng.standard_normal())
    if rng.random() < reader.unsized_fraction:
        size, reason = None, "the reader gave none"
    elif size is not None:
        size = max(LEAST_SIZE_MM, size * factor)
    over = over_threshold_db(one.response, rule.threshold, image)
    shares = CAUSE_OF_CLEAR if over >= CLEAR_DB else CAUSE_OF_WEAK
    return replace(
        one,
        x_mm=float(np.clip(x, low_x, high_x)),
        z_mm=float(np.clip(z, low_z, high_z)),
        size_mm=size,
        size_reason=reason,
        confidence=int(np.clip(2 + np.floor(over / STEP_DB), 1, 5)),
        cause=str(rng.choice(UNCLEAR, p=shares)),
    )


def over_threshold_db(response: float, threshold: float, image: Image) -> float:
    """Return how far a response stands over a threshold, in decibels of the value."""
    if image.unit == "db":
        return response - threshold
    return float(20.0 * np.log10(max(response, 1e-6) / threshold))
