"""All modes of one recording on one grid.

Modes that need the same sums share them: total focusing and its coherence cost one pass over the
signals. Amplitudes are means over pairs, weighted as declared, in dB relative to the full scale of
one received signal, so that modes and recordings of one gain share one scale.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from qualify.errors import refuse
from qualify.imaging.beams import Placing, beams_law, beams_of, placing_of, ranges_for
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
Value = TypeVar("Value")
OF_PHASES = ("phase_coherence_factor", "sign_coherence_factor")


@dataclass(slots=True)
class Setting:
    """What images of one geometry share, kept from one recording to the next.

    Another geometry (probe, coupling, material, times, grid) takes the place of the one before.
    """

    geometry: str = ""
    held: dict[str, Any] = field(default_factory=dict)

    def enter(self, recording: Recording, grid: Grid) -> None:
        """Let go of what belongs to another geometry than that of a recording on a grid."""
        models = (recording.probe, recording.coupling, recording.medium)
        told = "".join(model.model_dump_json() for model in models)
        told += f" {recording.sampling_mhz!r} {recording.start_us!r} {recording.sample_count} "
        geometry = told + repr(grid)
        if geometry != self.geometry:
            self.held.clear()
            self.geometry = geometry

    def once(self, key: str, make: Callable[[], Value]) -> Value:
        """Return what stands under a key, made where it does not."""
        if key not in self.held:
            self.held[key] = make()
        return cast(Value, self.held[key])


def make_images(
    recording: Recording,
    modes: Sequence[Mode],
    grid: Grid,
    *,
    threads: bool = True,
    setting: Setting | None = None,
) -> tuple[Image, ...]:
    """Return an image for each mode, all on one grid.

    Parameters
    ----------
    threads : whether to use all cores; the images are the same.
    setting : holds what does not depend on the signals, for recordings of one geometry in turn.

    Raises
    ------
    InputError : if a mode does not fit the probe or its coupling.
    """
    setting = Setting() if setting is None else setting
    setting.enter(recording, grid)
    work = Focusing(recording, grid, prepare(recording), threads, setting=setting)
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
    setting: Setting = field(default_factory=Setting)

    def image(self, mode: Mode, digest: str) -> Image:
        """Return the image of one mode; `digest` is that of the recording."""
        return _image(self, mode, digest)

    def rows(self, mode: Mode, kernel: str, *, weighted: bool) -> Floats:
        """Return what a kernel writes (rows, pixels of the law); summed once."""
        weighted = weighted and mode.corrections != Corrections()
        key = _key(mode, kernel, weighted=weighted)
        if key not in self.kept:
            law = self.setting.once(
                _key(mode, "law", weighted=weighted), lambda: self.law(mode, weighted=weighted)
            )
            self.kept[key] = _summed(kernel, self.signals, law, threads=self.threads)
        return self.kept[key]

    def law(self, mode: Mode, *, weighted: bool) -> Law:
        """Return the law of a mode."""
        _check_corrections(self.recording, mode)
        if mode.focusing == "total_focusing":
            pixels = grid_pixels(self.grid)
            return total_focusing_law(self.recording, self.signals, mode, pixels, weighted=weighted)
        beams = beams_of(self.recording, mode)
        ranges = ranges_for(beams, self.grid, self._wavelength_mm)
        return beams_law(self.recording, self.signals, mode, beams, ranges, weighted=weighted)

    @property
    def _wavelength_mm(self) -> float:
        return speeds(self.recording)[1] / self.recording.probe.centre_mhz

    def placed(self, mode: Mode, *values: Floats) -> tuple[NDArray[np.float32], Mask]:
        """Return values at the law's pixels on the grid (kinds, rows, columns), and where."""
        if mode.focusing == "total_focusing":
            place = self.setting.once("place", lambda: grid_pixels(self.grid).place)
            out = np.empty((len(values), self.grid.rows * self.grid.columns), np.float32)
            out[:, place] = values
            return out.reshape(-1, *self.grid.shape), np.ones(self.grid.shape, np.bool_)
        key = _key(mode, "placing", weighted=False)
        placing = self.setting.once(key, lambda: self._placing(mode))
        return placing.on_grid(np.stack(values)), placing.inside

    def _placing(self, mode: Mode) -> Placing:
        beams = beams_of(self.recording, mode)
        return placing_of(beams, ranges_for(beams, self.grid, self._wavelength_mm), self.grid)


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
    (placed,), _ = work.placed(mode, values)
    key = f"{mode.least_elements} {_key(mode, 'shown', weighted=False)}"
    shown = work.setting.once(key, lambda: _shown(work, mode, count, inside))
    levels = _random_levels(mode, shown.fewest_elements)
    return Image(
        values=decibels(placed) if mode.show != "coherence" else placed,
        unit="coherence" if mode.show == "coherence" else "db",
        grid=work.grid,
        mode=mode.name,
        method=mode.in_words(),
        covered=shown.covered,
        recorded=shown.recorded,
        fewest_elements=shown.fewest_elements,
        signal=work.recording.provenance.signal,
        recording=digest,
        random_level=levels[0],
        random_99=levels[1],
    )


@dataclass(frozen=True, slots=True)
class _Shown:
    """Where a mode shows anything, see `Image`: a matter of geometry alone."""

    covered: Mask
    recorded: Mask
    fewest_elements: int


def _shown(work: Focusing, mode: Mode, count: Floats, inside: Floats) -> _Shown:
    (elements, timely), reached = work.placed(mode, count, inside)
    reached = reached & (elements > (mode.least_elements or LEAST_ELEMENTS) - 0.5)
    recorded = ~reached | (timely > 1.0 - 1e-6)
    covered = reached & recorded
    fewest = round(float(elements[covered].min())) if covered.any() else 0
    return _Shown(covered, recorded, fewest)


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
