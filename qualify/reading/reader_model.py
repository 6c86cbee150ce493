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
from qualify.reading.extent import Extent
from qualify.reading.rule import Looked, Seen

WRONG_BY_MM = (5.0, 9.0)
LEAST_SIZE_MM = 0.3  # nobody reports less
MOST_COHERENCE = 0.98  # no reader waits for a threshold that nothing can reach
CLEAR_DB, STEP_DB = 3.0, 3.0
CAUSES = ("flaw", "unclear", "grain")
CAUSE_OF_WEAK, CAUSE_OF_CLEAR = (0.6, 0.3, 0.1), (0.95, 0.05, 0.0)
NOT_GIVEN = Extent(None, "the reader gave none")


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


def seen_by_model(
    looked: Looked, reader: ModelReader, rng: np.random.Generator
) -> tuple[Seen, ...] | None:
    """Return what a modelled reader marks in an image; None where the unit was given up."""
    if rng.random() < reader.given_up_fraction:
        return None
    rule = looked.rule
    asked_db = reader.caution_db + reader.scatter_db * float(rng.standard_normal())
    threshold = raised(rule.threshold, asked_db, looked.image)
    found = []
    for one in looked.marked(threshold, rule.methods[:1]):
        if rng.random() >= reader.lapse_fraction:
            found.append(_written(one, looked, reader, rng))
    return tuple(found)


def raised(threshold: float, by_db: float, image: Image) -> float:
    """Return a threshold raised by decibels; of a coherence, its value times their ratio."""
    if image.unit == "db":
        return threshold + by_db
    return float(min(MOST_COHERENCE, threshold * 10.0 ** (by_db / 20.0)))


def _written(one: Seen, looked: Looked, reader: ModelReader, rng: np.random.Generator) -> Seen:
    """Return an indication as a reader writes it down."""
    x, z = rng.normal((one.x_mm, one.z_mm), (reader.x_sd_mm, reader.z_sd_mm))
    if rng.random() < reader.slip_fraction:
        z += rng.choice((-1.0, 1.0)) * rng.uniform(*WRONG_BY_MM)
    region = looked.rule.looking.region
    size = one.sizes[0]
    factor = 1.0 + reader.size_sd_fraction * float(rng.standard_normal())
    if rng.random() < reader.unsized_fraction:
        size = NOT_GIVEN
    elif size.mm is not None:
        size = Extent(max(LEAST_SIZE_MM, size.mm * factor), None)
    over = over_threshold_db(one.response, looked.rule.threshold, looked.image)
    shares = CAUSE_OF_CLEAR if over >= CLEAR_DB else CAUSE_OF_WEAK
    return replace(
        one,
        x_mm=float(np.clip(x, *region.x_mm)),
        z_mm=float(np.clip(z, *region.z_mm)),
        sizes=(size,),
        confidence=int(np.clip(2 + np.floor(over / STEP_DB), 1, 5)),
        cause=str(rng.choice(CAUSES, p=shares)),
    )


def over_threshold_db(response: float, threshold: float, image: Image) -> float:
    """Return how far a response stands over a threshold, in decibels of the value."""
    if image.unit == "db":
        return response - threshold
    return float(20.0 * np.log10(max(response, 1e-6) / threshold))
