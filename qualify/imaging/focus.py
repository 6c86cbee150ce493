"""All modes of one recording on one grid.

Modes that need the same sums share them: total focusing and its coherence cost one pass over the
signals. Amplitudes are means over pairs, weighted as declared, in dB relative to the full scale of
one received signal, so that modes and recordings of one gain share one scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from qualify.errors import refuse
from qualify.imaging.beams import Beam, Ranges, beams_law, beams_of, on_grid, ranges_for
from qualify.imaging.coherence import Sums, measure_of, sums_of
from qualify.imaging.grid import Grid, Image, Mask, decibels
from qualify.imaging.kernels import AMPLITUDE_ROWS, PAIR_ROWS, sum_pairs
from qualify.imaging.laws import Floats, Law
from qualify.imaging.modes import Corrections, Mode
from qualify.imaging.phase_kernels import PHASE_ROWS, RECEIVE_ROWS, sum_phases, sum_receivers
from qualify.imaging.random_phase import random_level_of_pairs
from qualify.imaging.random_receivers import random_level_of_receivers
from qualify.imaging.signals import Signals, prepare
from qualify.imaging.tiles import grid_pixels, run
from qualify.imaging.total_focusing import speeds, total_focusing_law
from qualify.recording.probe import Contact
from qualify.recording.record import Recording, samples_digest

LEAST_ELEMENTS = 2
OF_PHASES = ("phase_coherence_factor", "sign_coherence_factor")


def make_images(
    recording: Recording, modes: Sequence[Mode], grid: Grid, *, threads: bool = True
) -> tuple[Image, ...]:
    """Return an image for each mode, all on one grid.

    Parameters
    ----------
    threads : whether to use all cores; the images are the same.

    Raises
    ------
    InputError : if a mode does not fit the probe or its coupling.
    """
    work = Focusing(recording, grid, prepare(recording), threads)
    digest = samples_digest(recording.samples)
    return tuple(work.image(mode, digest) for mode in modes)


@dataclass(slots=True)
class Focusing:
    """One recording being imaged; what was summed is kept for the next mode.

    `threads` : whether to use all cores; the images are the same.
    """

    recording: Recording
    grid: Grid
    signals: Signals
    threads: bool
    kept: dict[str, Floats] = field(default_factory=dict)

    def image(self, mode: Mode, digest: str) -> Image:
        """Return the image of one mode; `digest` is that of the recording."""
        return _image(self, mode, digest)

    def rows(self, mode: Mode, kernel: str, *, weighted: bool) -> Floats:
        """Return what a kernel writes (rows, pixels of the law); summed once."""
        weighted = weighted and mode.corrections != Corrections()
        key = _key(mode, kernel, weighted=weighted)
        if key not in self.kept:
            law = self.law(mode, weighted=weighted)
            self.kept[key] = _summed(kernel, self.signals, law, threads=self.threads)
        return self.kept[key]

    def law(self, mode: Mode, *, weighted: bool) -> Law:
        """Return the law of a mode."""
        _check_corrections(self.recording, mode)
        if mode.focusing == "total_focusing":
            pixels = grid_pixels(self.grid)
            return total_focusing_law(self.recording, self.signals, mode, pixels, weighted=weighted)
        beams = beams_of(self.recording, mode)
        ranges = self.ranges(beams)
        return beams_law(self.recording, self.signals, mode, beams, ranges, weighted=weighted)

    def ranges(self, beams: tuple[Beam, ...]) -> Ranges:
        """Return the ranges along the beams of a scan."""
        wavelength = speeds(self.recording)[1] / self.recording.probe.centre_mhz
        return ranges_for(beams, self.grid, wavelength)

    def placed(self, mode: Mode, *values: Floats) -> tuple[NDArray[np.float32], Mask]:
        """Return values at the law's pixels on the grid (kinds, rows, columns), and where."""
        if mode.focusing == "total_focusing":
            out = np.empty((len(values), self.grid.rows * self.grid.columns), np.float32)
            out[:, grid_pixels(self.grid).place] = values
            return out.reshape(-1, *self.grid.shape), np.ones(self.grid.shape, np.bool_)
        beams = beams_of(self.recording, mode)
        return on_grid(np.stack(values), beams, self.ranges(beams), self.grid)


def _summed(kernel: str, signals: Signals, law: Law, *, threads: bool) -> Floats:
    if kernel == "phases":
        return run(sum_phases, signals, law, PHASE_ROWS, threads=threads)
    if kernel == "receivers":
        return run(sum_receivers, signals, law, RECEIVE_ROWS, threads=threads)
    return run(sum_pairs, signals, law, PAIR_ROWS, threads=threads)


def _key(mode: Mode, kernel: str, *, weighted: bool) -> str:
    """Return what the sums depend on: all of the mode but its name and what is shown of them."""
    apart: dict[str, object] = {
        "name": "-",
        "threshold": None,
        "least_elements": None,
        "show": "amplitude",
        "measure": None,
        "pairs": "all",
        "corrections": mode.corrections if weighted else Corrections(),
    }
    return f"{kernel} {mode.model_copy(update=apart).model_dump_json()}"


def check_mode(recording: Recording, mode: Mode) -> None:
    """Check that a recording can be imaged in a mode, before anything is summed.

    Raises
    ------
    InputError : if the mode does not fit the probe or its coupling.
    """
    _check_corrections(recording, mode)
    if mode.focusing != "total_focusing":
        beams_of(recording, mode)


def _check_corrections(recording: Recording, mode: Mode) -> None:
    contact = isinstance(recording.coupling, Contact)
    if mode.corrections.spreading and not (contact and mode.focusing == "total_focusing"):
        raise refuse(
            f"mode {mode.name}: corrections.spreading",
            "is asked for away from total focusing in contact, where no leg has one length",
            "remove it",
        )
    if mode.corrections.directivity and mode.focusing != "total_focusing":
        raise refuse(
            f"mode {mode.name}: corrections.directivity",
            "is asked for in a scan of beams, which sends all its elements one way",
            "remove it",
        )


def _image(work: Focusing, mode: Mode, digest: str) -> Image:
    count, _, inside = work.rows(mode, "pairs", weighted=False)[AMPLITUDE_ROWS:]
    values = _values(work, mode, count)
    (placed, elements, timely), reached = work.placed(mode, values, count, inside)
    reached &= elements > (mode.least_elements or LEAST_ELEMENTS) - 0.5
    recorded = ~reached | (timely > 1.0 - 1e-6)
    covered = reached & recorded
    fewest = round(float(elements[covered].min())) if covered.any() else 0
    levels = _random_levels(mode, fewest)
    return Image(
        values=decibels(placed) if mode.show != "coherence" else placed,
        unit="coherence" if mode.show == "coherence" else "db",
        grid=work.grid,
        mode=mode.name,
        method=mode.in_words(),
        covered=covered,
        recorded=recorded,
        fewest_elements=fewest,
        signal=work.recording.provenance.signal,
        recording=digest,
        random_level=levels[0],
        random_99=levels[1],
    )


def _random_levels(mode: Mode, elements: int) -> tuple[float | None, float | None]:
    """Return mean and 99 % level of a coherence of random phases, of so many elements."""
    if mode.show != "coherence" or mode.measure is None or elements < LEAST_ELEMENTS:
        return None, None
    level = random_level_of_receivers if mode.pairs == "receive" else random_level_of_pairs
    found = level(mode.measure, elements)
    return found.mean, found.level_99


def _values(work: Focusing, mode: Mode, count: Floats) -> Floats:
    """Return amplitude over full scale, coherence, or their product (pixels of the law)."""
    coherence = None if mode.measure is None else _coherence(work, mode, count)
    if mode.show == "coherence":
        assert coherence is not None
        return coherence
    rows = work.rows(mode, "pairs", weighted=True)
    weight = rows[AMPLITUDE_ROWS + 1]
    scale = work.recording.full_scale or 1.0
    amplitude = np.hypot(rows[0], rows[1]) / np.maximum(weight**2 * scale, 1e-30)
    return np.asarray(amplitude if coherence is None else amplitude * coherence)


def _coherence(work: Focusing, mode: Mode, count: Floats) -> Floats:
    assert mode.measure is not None
    sums: Sums
    if mode.pairs == "receive":
        sums = sums_of(work.rows(mode, "receivers", weighted=False), count)
    else:
        phases = work.rows(mode, "phases", weighted=False) if mode.measure in OF_PHASES else None
        sums = sums_of(work.rows(mode, "pairs", weighted=False)[:AMPLITUDE_ROWS], count**2, phases)
    return measure_of(sums, mode.measure)
