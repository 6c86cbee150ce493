"""An image as a rule reads it: its responses once, then indications at a threshold, sized."""

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.imaging.grid import Image
from qualify.reading.detection import Array, Background, Looking, groups, largest, responses
from qualify.reading.extent import Extent, Method, extent_of


@dataclass(frozen=True, slots=True)
class Rule:
    """The rule of a mode: where it looks, its background and threshold, how it sizes.

    Attributes
    ----------
    methods : of sizing; the first one gives the size, the others are told beside it.
    """

    looking: Looking
    background: Background
    threshold: float
    methods: tuple[Method, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """An indication in the frame of the recording, millimetres.

    Attributes
    ----------
    response : in the unit of the image. sizes : by each method asked for, in their order; the
        first one is the size.
    confidence, cause : as a reader writes them; None of the rule.
    """

    x_mm: float
    z_mm: float
    length_x_mm: float
    response: float
    sizes: tuple[Extent, ...]
    confidence: int | None = None
    cause: str | None = None

    @property
    def size_mm(self) -> float | None:
        """Size by the method that counts, None where it can't be told."""
        return self.sizes[0].mm


@dataclass(frozen=True, slots=True)
class Looked:
    """An image with the responses that a rule finds in it."""

    image: Image
    rule: Rule
    response: Array

    @classmethod
    def at(cls, image: Image, rule: Rule) -> "Looked":
        """Look at an image by a rule."""
        return cls(image, rule, responses(image, rule.background, rule.looking))

    def by_rule(self) -> tuple[Seen, ...]:
        """Return the indications at the threshold of the rule, sized by all of its methods."""
        return self.marked(self.rule.threshold, self.rule.methods)

    def marked(self, threshold: float, methods: Sequence[Method]) -> tuple[Seen, ...]:
        """Return the indications at a threshold, in rising x."""
        image, rule, found = self.image, self.rule, []
        for group in groups(image, self.response, threshold, rule.looking):
            sizes = tuple(
                extent_of(image, group, rule.background, rule.looking, method) for method in methods
            )
            found.append(Seen(group.x_mm, group.z_mm, group.width_mm, group.response, sizes))
        return tuple(found)

    def largest(self) -> float | None:
        """Return the largest response, None where nothing of the region is covered."""
        return largest(self.response)
