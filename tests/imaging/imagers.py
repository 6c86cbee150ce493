"""Total focusing and its coherence through `make_images`, for tests of what is read from images."""

from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid, Image
from qualify.imaging.modes import Mode
from qualify.recording.probe import Probe
from qualify.recording.record import Recording

AMPLITUDE = Mode(name="amplitude", focusing="total_focusing")
COHERENCE = Mode(
    name="coherence", focusing="total_focusing", show="coherence", measure="vector_coherence"
)


def array_of(elements: int, *, pitch_mm: float = 0.6) -> Probe:
    """Return the array of the published checks, with fewer elements: 5 MHz, 70 %."""
    return Probe(
        name="invented", elements=elements, pitch_mm=pitch_mm, element_width_mm=0.9 * pitch_mm,
        passive_width_mm=10.0, centre_mhz=5.0, bandwidth_fraction=0.7,
    )  # fmt: skip


def total_focusing(recording: Recording, grid: Grid) -> Image:
    """Return the amplitude."""
    return make_images(recording, (AMPLITUDE,), grid, threads=False)[0]


def coherence(recording: Recording, grid: Grid) -> Image:
    """Return the vector coherence over all pairs."""
    return make_images(recording, (COHERENCE,), grid, threads=False)[0]
