"""Recordings of scenes, computed from the model.

What depends on the probe alone is computed once; the grain of a place is kept while recordings of
that place are asked for, so that a piece with flaws and its flaw-free twin cost one grain, and
another set of targets costs its reflectors alone.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from qualify.recording import probe as parts
from qualify.recording.probe import Medium, Probe
from qualify.recording.record import Provenance, Recording, full_matrix, half_pairs
from qualify.simulation.band import band_of, peak_of, to_time
from qualify.simulation.conditions import Conditions
from qualify.simulation.elevation import elevation_of
from qualify.simulation.grain import (
    Points,
    Strips,
    grain_points,
    grain_spectra,
    leg_tables,
    point_strength,
)
from qualify.simulation.kernels import Wave
from qualify.simulation.noise import add_noise, add_ring_down, ring_downs, sensitivities
from qualify.simulation.place import Place
from qualify.simulation.reflectors import Bench, add_scene, wall_echo
from qualify.simulation.scene import Scene, Solid
from qualify.simulation.words import LEFT_OUT, MODEL
from qualify.threads import in_threads

ROWS = 64
DECIBEL = 8.685889638065035  # of a ratio e of amplitudes: 20 lg e
Floats = NDArray[np.float32]


@dataclass(slots=True)
class Simulator:
    """Computes recordings of one probe on pieces of one solid, in contact.

    Attributes
    ----------
    full : whether the whole matrix is recorded, each direction of a pair with its own noise.
    seed : of all that is random; grain, elements, coupling and noise have streams of their own.
    """

    probe: Probe
    solid: Solid
    conditions: Conditions
    sampling_mhz: float
    samples: int
    seed: int
    full: bool = False
    _bench: Bench | None = None
    _gain: float = 0.0
    _rings: Floats | None = None
    _grain: tuple[Place, Floats | None] | None = field(default=None, repr=False)
    _strips: Strips = field(default_factory=dict, repr=False)
    _legs: tuple[Floats, Floats] | None = field(default=None, repr=False)

    @property
    def bench(self) -> Bench:
        """What all reflectors share."""
        if self._bench is None:
            self._bench = bench_of(self.probe, self.solid, self.sampling_mhz, self.samples)
        return self._bench

    @property
    def gain(self) -> float:
        """Factor from the unit of the model to full scale."""
        if self._gain == 0.0:
            receiver = self.conditions.receiver
            peak = wall_peak(self.bench, receiver.set_on_wall_mm)
            self._gain = receiver.wall_fraction / peak
        return self._gain

    def record(
        self, scene: Scene, place: Place, *, repeat: int = 1, loss_db: float = 0.0
    ) -> Recording:
        """Return the recording of a scene at a place.

        repeat : number of the placing of the probe: coupling and electronic noise are drawn anew.
        loss_db : lost at this placing beside the declared coupling, on each way.
        """
        clean = self.signals(scene, place, repeat=repeat, loss_db=loss_db)
        name = self._name(place, repeat)
        transmit, receive = half_pairs(self.probe.elements)
        if self._rings is None:
            self._rings = ring_downs(
                self.probe,
                self.conditions.electronics,
                self.sampling_mhz,
                self.samples,
                self.seed,
            )
        talk = self.conditions.electronics.cross_talk_db
        add_ring_down(clean, self._rings, transmit, receive, talk)
        return self.holding(self._received(clean, name), place)

    def holding(self, samples: Floats, place: Place) -> Recording:
        """Return the recording that holds these samples, or none yet, of a place."""
        return Recording(
            samples,
            self.sampling_mhz,
            0.0,
            self.probe,
            parts.Contact(kind="contact"),
            Medium(
                longitudinal_m_per_s=self.solid.longitudinal_m_per_s,
                thickness_mm=place.thickness_mm,
            ),
            Provenance("simulated", MODEL, self.seed, LEFT_OUT),
            full_scale=1.0,
            gain_db=float(20.0 * np.log10(self.gain)),
            block=place.block,
            position_mm=place.x_mm,
        )

    def signals(
        self, scene: Scene, place: Place, *, repeat: int = 1, loss_db: float = 0.0
    ) -> Floats:
        """Return signals (pairs, samples) over full scale: reflectors and grain as received."""
        held = self.spectra(scene, place, repeat=repeat, loss_db=loss_db)
        return to_time(held, self.bench.band)

    def spectra(
        self, scene: Scene, place: Place, *, repeat: int = 1, loss_db: float = 0.0
    ) -> Floats:
        """Return the spectra (2, pairs, frequencies) of `signals`."""
        spectra = self._grain_at(place)
        held = (
            np.zeros((2, len(self.bench.one), len(self.bench.k_per_mm)), np.float32)
            if spectra is None
            else spectra.copy()
        )
        add_scene(self.bench, scene, held)
        each = sensitivities(
            self.probe, self.conditions.contact, self.seed, *self._name(place, repeat)
        )
        if loss_db:
            each = each * 10.0 ** (-loss_db / 20.0)
        pair = (self.gain * each[self.bench.one] * each[self.bench.other]).astype(np.float32)
        _scale(held, pair, self.bench.band.pulse.astype(np.float32))
        return held

    def _received(self, clean: Floats, name: tuple[str, ...]) -> Floats:
        """Return what the receiver holds of signals (pairs, samples): with noise, clipped."""
        electronics, rate = self.conditions.electronics, self.sampling_mhz
        if not self.full:
            add_noise(clean, electronics, rate, self.seed, *name)
            return np.asarray(np.clip(clean, -1.0, 1.0, out=clean))
        n = self.probe.elements
        whole = full_matrix(clean).reshape(n * n, self.samples)
        add_noise(whole, electronics, rate, self.seed, *name)
        np.clip(whole, -1.0, 1.0, out=whole)
        return whole.reshape(n, n, self.samples)

    def forget_grain(self) -> None:
        """Let go of the grain that is kept."""
        self._grain = None
        self._strips.clear()

    def grain_count(self, place: Place) -> int:
        """Return how many points of grain a recording at a place has."""
        points = self._points(place)
        return 0 if points is None else len(points.x_mm)

    def _points(self, place: Place) -> Points | None:
        grain = self.conditions.grain
        if grain is None:
            return None
        half = 0.5 * self.probe.aperture_mm
        return grain_points(grain, place, self.seed, half, self._reach_mm, self._strips)

    @property
    def _reach_mm(self) -> float:
        """Depth that the record reaches."""
        return 0.5 * self.samples / self.sampling_mhz * self.solid.speed

    def _grain_at(self, place: Place) -> Floats | None:
        """Return the spectra of the grain at a place, kept for the next recording there."""
        grain = self.conditions.grain
        if grain is None:
            return None
        if self._grain is None or self._grain[0] != place:
            band = self.bench.band
            width = self.probe.passive_width_mm
            points = self._points(place)
            assert points is not None
            if self._legs is None:
                self._legs = leg_tables(
                    band, self.solid, self.probe.element_width_mm, width, self._reach_mm
                )
            shape = point_strength(grain, band, self.solid, width)
            spectra = grain_spectra(
                points, self.probe.along_mm(), band, shape, self._legs, self.solid.speed
            )
            self._grain = (place, spectra)
        return self._grain[1]

    @staticmethod
    def _name(place: Place, repeat: int) -> tuple[str, ...]:
        return (place.block, place.from_face, f"{place.x_mm:.6g}", f"{place.y_mm:.6g}", str(repeat))


def bench_of(probe: Probe, solid: Solid, sampling_mhz: float, samples: int) -> Bench:
    """Return what all reflectors share, of a probe on a solid."""
    band = band_of(probe, sampling_mhz, samples)
    k = band.per_mm(solid.speed)
    loss = solid.attenuation_db_per_mm / DECIBEL / solid.attenuation_at_mhz
    per_radian = loss * solid.speed / (2.0 * np.pi)
    width = probe.passive_width_mm
    centre = 2.0 * np.pi * probe.centre_mhz / solid.speed
    one, other = half_pairs(probe.elements)
    return Bench(
        band,
        solid,
        probe.along_mm(),
        probe.element_width_mm,
        width,
        elevation_of(k, centre, width),
        Wave(float(k[0]), float(k[1] - k[0]), per_radian, probe.element_width_mm),
        k,
        one,
        other,
    )


def wall_peak(bench: Bench, wall_mm: float) -> float:
    """Return the peak of the wall's echo, sent and received by the middle element."""
    middle = len(bench.along_mm) // 2
    alone = Bench(
        bench.band, bench.solid, bench.along_mm[middle : middle + 1] * 0.0, bench.element_mm,
        bench.width_mm, bench.elevation, bench.wave, bench.k_per_mm,
        np.zeros(1, np.int64), np.zeros(1, np.int64),
    )  # fmt: skip
    echo = wall_echo(alone, wall_mm)[0]
    return peak_of(echo * bench.band.pulse, bench.band, 2.0 * wall_mm / bench.solid.speed)


def _scale(spectra: Floats, pair: Floats, pulse: Floats) -> None:
    """Multiply spectra (2, pairs, frequencies) by a factor a pair and one a frequency."""

    def work(start: int, stop: int) -> None:
        for row in range(start, stop, ROWS):
            end = min(row + ROWS, stop)
            spectra[:, row:end] *= pair[None, row:end, None] * pulse

    in_threads(work, len(pair), ROWS)
