"""Signals straight from spectra, against those of the recording."""

import numpy as np
import pytest
from made_simulation import conditions, place, probe, simulator

from qualify.imaging.focus import Focusing, make_images
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Mode
from qualify.imaging.signals import signals_of
from qualify.simulation.scene import Hole, Scene


@pytest.mark.parametrize("show", ["amplitude", "coherence"])
def test_images_straight_from_spectra_are_those_of_the_recording(show):
    """Total focusing of a hole in grain, nothing clipped and no noise: within 1 % of the largest
    amplitude (-40 dB: the nearest sample differs), .02 of coherence."""
    measure = {"measure": "vector_coherence"} if show == "coherence" else {}
    mode = Mode(name="m", focusing="total_focusing", show=show, **measure)
    sim = simulator(probe(24), under=conditions(grain_db=-40.0))
    scene, grid = Scene(holes=(Hole(1.0, 25.0, 1.0),)), Grid.over((-5, 5), (15, 35), 0.5)
    recording = sim.record(scene, place())
    assert np.abs(recording.samples[:, 100:]).max() < 1.0
    (recorded,) = make_images(recording, (mode,), grid)
    signals = signals_of(sim.spectra(scene, place()), sim.bench.band, 24)
    straight = Focusing(recording, grid, signals, threads=False).image(mode, recorded.recording)
    apart = np.abs(straight.amplitude() - recorded.amplitude())
    limit = 0.02 if show == "coherence" else 0.01 * recorded.amplitude().max()
    assert apart.max() < limit
    assert np.array_equal(straight.covered, recorded.covered)


def test_with_its_carrier_put_back_a_signal_is_the_recorded_one():
    """Real part of table × exp(2πi·carrier·t), every other sample: within 1e-4 of the peak."""
    sim = simulator(probe(6), under=conditions(grain_db=-40.0))
    scene = Scene(holes=(Hole(1.0, 25.0, 1.0),))
    found = signals_of(sim.spectra(scene, place()), sim.bench.band, 6)
    time = np.arange(found.samples) / found.rate_mhz
    whole = (found.table[:, 1:-1] * np.exp(2j * np.pi * found.carrier_mhz * time)).real
    recorded = sim.signals(scene, place())
    every = found.samples // recorded.shape[1]
    assert np.abs(whole[:, ::every] - recorded).max() < 1e-4 * np.abs(recorded).max()
