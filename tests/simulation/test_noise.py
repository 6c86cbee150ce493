"""Electronic noise, ring-down, sensitivity, saturation: declared levels are what is found."""

import numpy as np
import pytest
from made_simulation import conditions, place, probe, simulator

from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Mode
from qualify.simulation.conditions import Conditions, Contact, Electronics, Receiver
from qualify.simulation.noise import add_noise, add_ring_down, ring_downs, sensitivities
from qualify.simulation.scene import Hole, Scene

WALL = Scene(wall_mm=60.0)


def test_electronic_noise_has_its_level_and_band():
    """−40 dB rms over full scale, within 1 %; all of its power between .5 and 12 MHz."""
    signals = np.zeros((200, 1000), np.float32)
    add_noise(signals, Electronics(noise_db=-40.0), 50.0, 1, "here")
    assert np.std(signals) == pytest.approx(0.01, rel=0.01)
    power = np.mean(np.abs(np.fft.rfft(signals)) ** 2, axis=0)
    mhz = np.fft.rfftfreq(1000, 0.02)
    inside = (mhz >= 0.5) & (mhz <= 12.0)
    assert power[~inside].sum() < 1e-6 * power.sum()
    assert np.std(power[inside]) / np.mean(power[inside]) < 0.15


def test_noise_of_two_signals_is_independent():
    """Correlation of 200 pairs of signals: as of independent ones, mean square 1/(2BT) ± 20 %."""
    signals = np.zeros((400, 1000), np.float32)
    add_noise(signals, Electronics(noise_db=-40.0), 50.0, 1, "here")
    one = signals / np.linalg.norm(signals, axis=1, keepdims=True)
    r = np.sum(one[::2] * one[1::2], axis=1)
    assert np.mean(r**2) == pytest.approx(1 / (2 * 11.5 * 20.0), rel=0.25)


@pytest.mark.parametrize(
    "mode",
    [
        Mode(name="linear", focusing="linear", aperture_elements=20),
        Mode(name="total", focusing="total_focusing"),
    ],
    ids=["linear", "total"],
)
def test_electronic_noise_is_rayleigh_in_images(mode):
    """Kurtosis ratio of the envelope 1.9 to 2.2, as of grain (Rayleigh, Goodman 1975, from
    memory); ten recordings."""
    sim = simulator(probe(40), under=conditions(noise_db=-40.0))
    grid = Grid.over((-5, 5), (10, 45), 0.5)
    power = []
    for repeat in range(1, 11):
        image = make_images(sim.record(Scene(), place(), repeat=repeat), (mode,), grid)[0]
        power.append(image.amplitude()[image.covered].astype(float) ** 2)
    assert 1.9 < np.mean(np.square(power)) / np.mean(power) ** 2 < 2.2


def test_ring_down_falls_as_declared_and_is_the_same_every_time():
    """By e every .3 µs: 1.5 µs later the envelope is 5 times e lower, within 5 %."""
    electronics = Electronics(ring_down_db=0.0, ring_down_us=0.3)
    rings = ring_downs(probe(6), electronics, 50.0, 1024, 1)
    assert np.array_equal(rings, ring_downs(probe(6), electronics, 50.0, 1024, 1))
    half = 10  # samples of a period
    early, late = (np.abs(rings[:, at : at + half]).max(axis=1) for at in (15, 90))
    assert np.allclose(early / late, np.exp(75 / 50.0 / 0.3), rtol=0.05)


def test_ring_down_peaks_at_its_level():
    """6 dB over full scale: the median of 60 elements, uneven by a tenth, within 5 %, for a slow
    and a quick decay."""
    for decay_us in (0.15, 0.3, 1.0):
        electronics = Electronics(ring_down_db=6.0, ring_down_us=decay_us)
        rings = ring_downs(probe(), electronics, 50.0, 1024, 1)
        assert np.median(np.abs(rings).max(axis=1)) == pytest.approx(1.995, rel=0.05)


def test_cross_talk_falls_from_neighbour_to_neighbour():
    """−20 dB an element: the third neighbour hears 1e-3 of the ring-down."""
    n = 6
    rings = np.ones((n, 4), np.float32)
    transmit, receive = np.triu_indices(n)
    signals = np.zeros((len(transmit), 4), np.float32)
    add_ring_down(signals, rings, transmit, receive, -20.0)
    for row, (t, r) in enumerate(zip(transmit, receive, strict=True)):
        assert signals[row, 0] == pytest.approx(0.1 ** abs(t - r), rel=1e-4)


def test_sensitivity_has_fixed_and_placing_parts():
    """Element scatter stays with the probe; loss and its unevenness change with the place."""
    fixed = Contact(element_scatter_db=1.0)
    assert np.array_equal(
        sensitivities(probe(), fixed, 1, "a"), sensitivities(probe(), fixed, 1, "b")
    )
    uneven = Contact(loss_db=3.0, loss_scatter_db=1.0, patch_scatter_db=1.0)
    found = np.array([20 * np.log10(sensitivities(probe(), uneven, 1, str(k))) for k in range(400)])
    assert np.mean(found) == pytest.approx(-3.0, abs=0.2)
    assert np.std(found.mean(axis=1)) == pytest.approx(1.0, abs=0.15)
    assert np.sqrt(np.mean(np.var(found, axis=1))) == pytest.approx(1.0, abs=0.15)


def test_coupling_loss_weighs_twice_and_not_on_noise():
    """3 dB each way take 6 dB of an echo; electronic noise stays."""
    under = conditions(noise_db=-60.0)
    lossy = under.model_copy(update={"contact": Contact(loss_db=3.0)})
    one, other = (simulator(probe(8), under=u).record(WALL, place()) for u in (under, lossy))
    late = slice(1013, 1019)
    fall = np.linalg.norm(one.samples[:, late]) / np.linalg.norm(other.samples[:, late])
    assert 20 * np.log10(fall) == pytest.approx(6.0, abs=0.1)
    early = slice(200, 800)
    assert np.std(other.samples[:, early]) == pytest.approx(1e-3, rel=0.05)


def test_the_receiver_saturates():
    """A gain four times too high: clipped at full scale exactly, and nothing beyond."""
    under = Conditions(receiver=Receiver(set_on_wall_mm=60.0, wall_fraction=4.0))
    scene = Scene(holes=(Hole(0.0, 15.0, 3.0),))
    samples = simulator(probe(8), under=under).record(scene, place()).samples
    assert samples.max() == 1.0
    assert samples.min() == -1.0
    assert np.mean(np.abs(samples) == 1.0) > 0.001


def test_both_ways_of_a_full_matrix_differ_by_noise_alone():
    """Full matrix: [i, j] and [j, i] carry one echo and two noises."""
    sim = simulator(probe(8), under=conditions(noise_db=-60.0), full=True)
    samples = sim.record(WALL, place()).samples
    apart = samples[1, 5] - samples[5, 1]
    assert np.std(apart) == pytest.approx(np.sqrt(2) * 1e-3, rel=0.1)


def test_the_same_seed_gives_the_same_bytes_and_another_repeat_does_not():
    """Two simulators, one recording: equal bytes. A repeat has the same grain and another noise."""
    under = conditions(grain_db=-50.0, noise_db=-70.0)
    scene = Scene(holes=(Hole(1.0, 25.0, 1.0),), wall_mm=60.0)
    first = simulator(probe(8), under=under).record(scene, place())
    again = simulator(probe(8), under=under)
    again.record(Scene(), place(300.0))
    second = again.record(scene, place())
    assert first.samples.tobytes() == second.samples.tobytes()
    third = again.record(scene, place(), repeat=2)
    apart = third.samples - first.samples
    assert 0.0 < np.std(apart) < 1e-3
    assert first.provenance.signal == "simulated"
    assert first.provenance.left_out


def test_a_twin_is_the_recording_without_its_targets():
    """Same grain and noise: the difference is the hole's echo alone, to rounding."""
    under = conditions(grain_db=-50.0, noise_db=-70.0)
    sim = simulator(probe(8), under=under)
    hole = Scene(holes=(Hole(1.0, 25.0, 1.0),), wall_mm=60.0)
    apart = sim.record(hole, place()).samples - sim.record(WALL, place()).samples
    clean = simulator(probe(8)).record(Scene(holes=hole.holes), place()).samples
    assert np.abs(apart - clean).max() < 1e-5
