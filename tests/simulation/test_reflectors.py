"""Recordings of scenes: arrival times, laws of amplitude, reciprocity, superposition."""

import numpy as np
import pytest
import scipy.signal
from made_simulation import LOSSLESS, STEEL, conditions, place, probe, simulator

from qualify.recording.record import half_pairs
from qualify.simulation.band import band_of, to_band, to_time
from qualify.simulation.elevation import strip_to_strip
from qualify.simulation.reflectors import add_scene
from qualify.simulation.scene import Disc, Face, Hole, Pore, Scene
from qualify.simulation.simulate import bench_of


def spectra(scene, *, array=None, solid=LOSSLESS, samples=2048):
    """Return bench and spectra (2, pairs, frequencies) of a scene."""
    bench = bench_of(array or probe(8), solid, 50.0, samples)
    out = np.zeros((2, len(bench.one), len(bench.k_per_mm)), np.float32)
    add_scene(bench, scene, out)
    return bench, out


def signals(scene, **given):
    """Return bench and envelopes (pairs, samples) of a scene, the pulse on them."""
    bench, out = spectra(scene, **given)
    signal = to_time(out * bench.band.pulse.astype(np.float32), bench.band)
    return bench, np.abs(scipy.signal.hilbert(signal, axis=-1))


def middle(scene, **given):
    """Return the envelope of the middle element's own signal, of an array of one width."""
    return signals(scene, array=probe(2, pitch_mm=0.01, element_width_mm=0.01), **given)[1][0]


def peak_us(envelope):
    """Return the time of the highest sample, by a parabola through its neighbours."""
    k = int(np.argmax(envelope))
    a, b, c = envelope[k - 1 : k + 2]
    return (k + 0.5 * (a - c) / (a - 2 * b + c)) / 50.0


def test_a_pulse_of_amplitude_one_peaks_at_one():
    """The sum of the band's lines is 1 at arrival, and its −6 dB band is 70 % of 5 MHz."""
    band = band_of(probe(2), 50.0, 1024)
    at = np.exp(2j * np.pi * band.mhz * 8.0)
    planes = np.stack([at.real, at.imag])[:, None, :].astype(np.float32)
    signal = to_time(planes * band.pulse.astype(np.float32), band)[0]
    assert signal[400] == pytest.approx(1.0, abs=1e-4)
    over = band.mhz[band.pulse >= 0.5 * band.pulse.max()]
    assert over[-1] - over[0] == pytest.approx(3.5, abs=0.1)


def test_to_the_band_and_back():
    """Signals within the band and the record come back: 1e-5 of their peak."""
    band = band_of(probe(2), 50.0, 1024)
    time = np.arange(1024) / 50.0
    signal = np.exp(-(((time - 10.0) / 0.5) ** 2)) * np.cos(2 * np.pi * 5.0 * time)
    planes = to_band(signal[None].astype(np.float32), band, np.ones(len(band.mhz), np.float32))
    assert np.allclose(to_time(planes, band)[0], signal, atol=1e-4)


@pytest.mark.parametrize(
    ("scene", "path_mm"),
    [
        (Scene(holes=(Hole(0.0, 38.1, 1.0),)), 2 * (38.1 - 0.5)),
        (Scene(pores=(Pore(0.0, 30.0, 0.6),)), 2 * (30.0 - 0.3)),
        (Scene(discs=(Disc(0.0, 25.0, 2.0),)), 50.0),
        (Scene(faces=(Face(-3.0, 20.0, 3.0, 20.0),)), 40.0),
        (Scene(wall_mm=76.2), 152.4),
    ],
)
def test_arrival_is_that_of_the_nearest_point(scene, path_mm):
    """Path over velocity: of a hole or pore its top, not its centre (0.339 µs a millimetre of
    longitudinal wave); .04 µs, a fifth of a period. A pore's echo is not a copy of the pulse."""
    tolerance = 0.12 if scene.pores else 0.04
    assert peak_us(middle(scene)) == pytest.approx(path_mm / 5.92, abs=tolerance)


def test_arrival_between_elements_is_that_of_both_legs():
    """Elements 0 and 7 by a hole of 1 mm at (2, 20): legs to its centre, less a radius."""
    bench, found = signals(Scene(holes=(Hole(2.0, 20.0, 1.0),)), samples=1024)
    legs = np.hypot(bench.along_mm - 2.0, 20.0) - 0.5
    transmit, receive = half_pairs(8)
    for pair in range(0, len(transmit), 5):
        wanted = (legs[transmit[pair]] + legs[receive[pair]]) / 5.92
        assert peak_us(found[pair]) == pytest.approx(wanted, abs=0.04)


def level(scene, **given):
    """Return the peak in dB."""
    return 20 * np.log10(middle(scene, samples=4096, **given).max())


@pytest.mark.parametrize(
    ("make", "wanted_db", "tolerance_db"),
    [
        (lambda z: Scene(wall_mm=z), -6.02, 0.15),
        (lambda z: Scene(holes=(Hole(0.0, z, 1.5),)), -9.03, 0.3),
        (lambda z: Scene(discs=(Disc(0.0, z, 2.0),)), -12.04, 0.15),
        (lambda z: Scene(pores=(Pore(0.0, z, 0.4),)), -12.04, 0.15),
    ],
)
def test_levels_fall_with_depth_as_in_the_far_field(make, wanted_db, tolerance_db):
    """Wall 1/z, hole 1/z^1.5, flat end and pore 1/z²: Krautkrämer 1990 (from memory).

    A passive width of 3 mm has its near field at 2 mm, so 60 and 120 mm are far.
    """
    array = {"array": probe(2, pitch_mm=0.01, element_width_mm=0.01, passive_width_mm=3.0)}
    falls = [
        20 * np.log10(signals(make(z), samples=4096, **array)[1][0].max()) for z in (60.0, 120.0)
    ]
    assert falls[1] - falls[0] == pytest.approx(wanted_db, abs=tolerance_db)


def test_levels_rise_with_diameter():
    """Hole +3.01 dB a doubling where ka > 2, within .4; flat end +12.04 within .01."""
    holes = [level(Scene(holes=(Hole(0.0, 50.0 + d / 2, d),))) for d in (2.0, 4.0)]
    assert holes[1] - holes[0] == pytest.approx(3.01, abs=0.4)
    discs = [level(Scene(discs=(Disc(0.0, 50.0, d),))) for d in (1.0, 2.0)]
    assert discs[1] - discs[0] == pytest.approx(12.04, abs=0.01)


def test_wall_over_hole_is_that_of_ray_theory():
    """√((z + a)/a): hole of 3 mm whose top is at 50 mm under a wall at 50 mm, 15.357 dB; .3 dB."""
    found = level(Scene(wall_mm=50.0)) - level(Scene(holes=(Hole(0.0, 51.5, 3.0),)))
    assert found == pytest.approx(15.357, abs=0.3)


def test_wall_over_flat_end_is_that_of_diffraction():
    """2λz/πd² in the far field of element and disc: d = 2, z = 50, λ = 1.184: 19.483 dB.

    The law is of one frequency, the peak of a broad pulse is within 0.6 dB of it.
    """
    array = {
        "array": probe(
            2, pitch_mm=0.01, element_width_mm=0.01, passive_width_mm=3.0, bandwidth_fraction=0.2
        )
    }
    wall, disc = (
        20 * np.log10(signals(scene, samples=2048, **array)[1][0].max())
        for scene in (Scene(wall_mm=50.0), Scene(discs=(Disc(0.0, 50.0, 2.0),)))
    )
    wanted = 20 * np.log10(2 * 1.184 * 50.0 / (np.pi * 4.0))
    assert wall - disc == pytest.approx(wanted, abs=0.6)


def test_attenuation_is_taken_on_the_whole_way():
    """.01 dB/mm at 5 MHz on 100 mm: 1 dB on a narrow pulse."""
    array = {"array": probe(2, pitch_mm=0.01, element_width_mm=0.01, bandwidth_fraction=0.1)}
    with_loss, without = (
        signals(Scene(wall_mm=50.0), solid=solid, samples=2048, **array)[1][0].max()
        for solid in (STEEL, LOSSLESS)
    )
    assert 20 * np.log10(without / with_loss) == pytest.approx(1.0, abs=0.02)


SCENE = Scene(
    holes=(Hole(-2.0, 20.0, 1.0),),
    faces=(Face(1.0, 30.0, 4.0, 31.0), Face(6.0, 50.0, 6.5, 60.0, breaks_wall=True)),
    pores=(Pore(-4.0, 35.0, 0.3),),
    discs=(Disc(3.0, 25.0, 2.0),),
    wall_mm=60.0,
)


def test_exchange_of_transmitter_and_receiver_changes_nothing():
    """Mirrored scene and array: pair (i, j) hears what (n−1−j, n−1−i) does; 2e-6 of the peak."""
    turned = Scene(
        holes=(Hole(2.0, 20.0, 1.0),),
        faces=(Face(-1.0, 30.0, -4.0, 31.0), Face(-6.0, 50.0, -6.5, 60.0, breaks_wall=True)),
        pores=(Pore(4.0, 35.0, 0.3),),
        discs=(Disc(-3.0, 25.0, 2.0),),
        wall_mm=60.0,
    )
    (_, one), (_, other) = spectra(SCENE), spectra(turned)
    transmit, receive = half_pairs(8)
    row = {(int(t), int(r)): k for k, (t, r) in enumerate(zip(transmit, receive, strict=True))}
    swapped = [row[7 - int(r), 7 - int(t)] for t, r in zip(transmit, receive, strict=True)]
    assert np.abs(one - other[:, swapped]).max() < 1e-5 * np.abs(one).max()


def test_single_scattering_adds_up():
    """The scene is the sum of its parts; 1e-5 of the peak (single precision)."""
    _, whole = spectra(SCENE)
    parts = (
        Scene(holes=SCENE.holes),
        Scene(faces=SCENE.faces[:1]),
        Scene(faces=SCENE.faces[1:], wall_mm=60.0),
        Scene(pores=SCENE.pores),
        Scene(discs=SCENE.discs),
    )
    total = sum(spectra(part)[1] for part in parts)
    assert np.abs(whole - total).max() < 1e-5 * np.abs(whole).max()


def test_pieces_of_frequencies_change_nothing(monkeypatch):
    """All frequencies in one piece, or in eight: 1e-6 of the peak (legs start anew in each)."""
    import qualify.threads as threads

    _, one = spectra(SCENE)
    monkeypatch.setattr(threads, "CHUNKS", 1)
    _, other = spectra(SCENE)
    scale = np.abs(one).max()
    assert np.abs(one - other).max() < 1e-6 * scale


def test_a_hole_by_orders_is_the_plain_sum():
    """Legs × Σ c_n cos nδ × elevation, in double precision without tables: 1e-3 of the peak
    (tables of elevation are interpolated)."""
    from qualify.simulation.elastic import line_directivity
    from qualify.simulation.hole import hole_series

    hole = Hole(1.3, 17.0, 1.6)
    bench, found = spectra(Scene(holes=(hole,)), solid=STEEL)
    k = bench.k_per_mm
    dx = bench.along_mm - hole.x_mm
    r, angle = np.hypot(dx, hole.z_mm), np.arctan2(dx, hole.z_mm)
    leg = line_directivity(np.abs(angle), STEEL.ratio)[:, None] / np.sqrt(r)[:, None]
    leg = leg * np.sinc(k * 0.52 * np.sin(angle)[:, None] / (2 * np.pi))
    leg = leg * np.exp((1j - bench.wave.loss) * k * r[:, None])
    series = hole_series(k, 0.8, STEEL.ratio)
    apart = angle[bench.one] - angle[bench.other]
    wave = np.cos(apart[:, None] * np.arange(len(series))) @ series
    path = (r[bench.one] + r[bench.other])[:, None]
    wanted = wave * leg[bench.one] * leg[bench.other] * strip_to_strip(k, 11.0, path)
    assert np.abs(found[0] + 1j * found[1] - wanted).max() < 2e-3 * np.abs(wanted).max()


def test_the_corner_of_a_notch_mirrors_the_face():
    """An upright notch from the wall: the echo off face and wall arrives as from the corner
    (path 2 × to the corner), and far outweighs the tip, as in practice."""
    notch = Scene(faces=(Face(8.0, 36.0, 8.0, 40.0, breaks_wall=True),), wall_mm=40.0)
    bench, both = spectra(notch, array=probe(16), samples=1024)
    _, alone = spectra(Scene(wall_mm=40.0), array=probe(16), samples=1024)
    signal = to_time((both - alone) * bench.band.pulse.astype(np.float32), bench.band)
    envelope = np.abs(scipy.signal.hilbert(signal, axis=-1))
    element = 0  # 12.65 mm beside the notch's line
    own = int(np.flatnonzero((bench.one == element) & (bench.other == element))[0])
    corner = 2 * np.hypot(8.0 - bench.along_mm[element], 40.0) / 5.92
    tip = 2 * np.hypot(8.0 - bench.along_mm[element], 36.0) / 5.92
    assert peak_us(envelope[own]) == pytest.approx(corner, abs=0.06)
    at_tip = envelope[own][round(tip * 50) - 3 : round(tip * 50) + 4].max()
    assert envelope[own].max() > 2.0 * at_tip


def test_a_face_that_breaks_no_wall_is_refused():
    """A face that ends on a wall needs the wall."""
    with pytest.raises(ValueError, match="wall"):
        spectra(Scene(faces=(Face(0.0, 10.0, 0.0, 20.0, breaks_wall=True),)))


def test_the_gain_is_set_on_the_wall():
    """The middle element's own wall echo peaks at .8 of full scale: within 2 %."""
    sim = simulator(probe(31), under=conditions(set_on_mm=50.0), samples=1024)
    found = sim.signals(Scene(wall_mm=50.0), place(thickness_mm=50.0))
    own = np.flatnonzero(sim.bench.one == sim.bench.other)[15]
    envelope = np.abs(scipy.signal.hilbert(found[own]))
    assert envelope.max() == pytest.approx(0.8, rel=0.02)
