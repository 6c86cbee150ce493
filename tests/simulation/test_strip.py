"""The exact strip: energy, convergence, edges of half-planes, a wave along the face.

It is what faces are tested against, so it is tested here without them: by laws, and by the
half-plane of Wiener and Hopf, another method.
"""

import numpy as np
import pytest

from qualify.simulation import strip
from qualify.simulation.edge import exact_part
from qualify.simulation.elastic import rayleigh_slowness
from qualify.simulation.strip import strip_far_field, strip_powers

STEEL = 5920.0 / 3255.0
K = 2 * np.pi * 5 / 5.92


@pytest.mark.parametrize("from_deg", [90.0, 70.0, 45.0, 5.0])
@pytest.mark.parametrize(
    ("extent", "ratio"), [(0.3, STEEL), (2.0, STEEL), (10.0, STEEL), (2.0, 2.0)]
)
def test_the_strip_keeps_energy(extent, ratio, from_deg):
    """What the forward wave loses is scattered, as longitudinal or as shear waves: 1e-10."""
    long, shear, lost = strip_powers(K, extent, np.radians(from_deg), ratio)
    assert long + shear == pytest.approx(lost, rel=1e-10)
    assert long > 0.0
    assert shear > 0.0


def test_a_long_strip_head_on_takes_twice_what_falls_on_it():
    """It mirrors its extent and throws a shadow as large: lost power 2 × extent, 1.5 %."""
    assert strip_powers(K, 10.0, np.pi / 2, STEEL)[2] == pytest.approx(20.0, rel=0.015)


@pytest.mark.parametrize("extent", [0.3, 2.0, 8.0])
def test_the_strip_has_converged(extent, monkeypatch):
    """Twice the spare terms, thrice the range and twice the nodes: 2e-5 of the largest."""
    one = np.radians(np.array([10.0, 35.0, 90.0, 140.0, 60.0]))
    other = one[::-1].copy()
    found = strip_far_field(K, extent, one, other, STEEL)
    monkeypatch.setattr(strip, "SPARE", 24)
    monkeypatch.setattr(strip, "FAR", 450.0)
    monkeypatch.setattr(strip, "SHARP", 120)
    monkeypatch.setattr(strip, "NODES_PER_TURN", 12.0)
    better = strip_far_field(K, extent, one, other, STEEL)
    assert np.abs(found - better).max() < 2e-5 * np.abs(better).max()


# --- both ends of an upright face of 5 mm, 5 MHz, 70 %, from far away ------------------------

EXTENT, LONG = 5.0, 5.92
FROM_PLANE_DEG = (1.0, 10.0, 20.0, 30.0, 45.0)


@pytest.fixture(scope="module")
def ends():
    """Times (µs, of the way to the middle 0) and envelopes (times, angles) over a hole of 1 mm."""
    mhz = np.arange(0.4, 10.4, 0.08)
    pulse = np.exp(-0.5 * ((mhz - 5.0) / 1.486) ** 2)
    angle = np.radians(np.array(FROM_PLANE_DEG))
    spectra = [strip_far_field(2 * np.pi * f / LONG, EXTENT, angle, angle, STEEL) for f in mhz]
    time = np.arange(-4.0, 5.0, 0.01)
    turn = np.exp(-2j * np.pi * np.outer(time, mhz))
    signal = turn @ (np.array(spectra) * pulse[:, None])
    return time, np.abs(signal) / (0.5 * pulse.sum()), mhz, pulse


def peak(ends, column, at_us, within_us=0.25):
    time, envelope = ends[:2]
    return envelope[np.abs(time - at_us) < within_us, column].max()


def half_plane(ends, angle_rad):
    """Return the peak of the echo of a half-plane's edge over a hole of 1 mm."""
    mhz, pulse = ends[2:]
    size = exact_part(np.array(angle_rad), np.array(angle_rad), STEEL) / (2 * np.cos(angle_rad))
    return (
        abs(size)
        * np.sum(pulse / np.sqrt(2 * np.pi * 2 * np.pi * mhz / LONG))
        / (0.5 * pulse.sum())
    )


@pytest.mark.parametrize("column", range(len(FROM_PLANE_DEG)))
def test_the_nearer_end_is_the_edge_of_a_half_plane(ends, column):
    """Strip and Wiener-Hopf agree where no other wave has come yet: 0.15 dB, 1° to 45°."""
    angle = np.radians(FROM_PLANE_DEG[column])
    found = peak(ends, column, -EXTENT * np.cos(angle) / LONG)
    wanted = half_plane(ends, np.pi - angle)
    assert 20 * np.log10(found / wanted) == pytest.approx(0.0, abs=0.15)


def test_the_farther_end_is_the_edge_of_a_half_plane_from_30_degrees_on(ends):
    """0.25 dB at 30° and 45°, where it is 3.4 and 2.2 times the nearer end. Nearer to the face's
    own plane waves along the face come with it: at 1° a half-plane's edge would send nothing, the
    strip sends 1.6 times the nearer end; at 20° 5 times."""
    ratios = []
    for column, degrees in enumerate(FROM_PLANE_DEG):
        angle = np.radians(degrees)
        arrival = EXTENT * np.cos(angle) / LONG
        found = peak(ends, column, arrival)
        ratios.append(found / peak(ends, column, -arrival))
        if degrees >= 30.0:
            assert 20 * np.log10(found / half_plane(ends, angle)) == pytest.approx(0.0, abs=0.25)
    assert np.round(ratios, 1) == pytest.approx([1.6, 3.0, 5.0, 3.4, 2.2], abs=0.11)
    assert half_plane(ends, np.radians(1.0)) < 0.1 * peak(ends, 0, EXTENT / LONG)


def test_a_rayleigh_wave_runs_along_an_upright_face(ends):
    """Nearly head-on a third echo comes when a wave has run one way as a longitudinal and the
    other as a Rayleigh wave, 0.05 µs. It outweighs both ends, and the model has none."""
    time, envelope = ends[:2]
    late = np.where(time > EXTENT / LONG + 0.3, envelope[:, 0], 0.0)
    rayleigh = EXTENT * rayleigh_slowness(STEEL) / LONG
    assert time[np.argmax(late)] == pytest.approx(rayleigh, abs=0.05)
    assert 1.5 < late.max() / peak(ends, 0, -EXTENT / LONG) < 2.1


def test_a_tiny_strip_opens_and_slides_as_a_static_crack():
    """Both by 2(1−ν)τ√(a²−x²)/µ in plane strain (Sneddon 1946, from memory), where τ/µ is that of
    the incident wave, k²(κ² − 2cos²) and k² sin 2β of potential 1: .1 % at .002 waves."""
    k, half = 1.0, 0.002 * np.pi
    one, other = np.radians(np.array([[90.0, 70.0, 40.0, -35.0], [90.0, 20.0, 110.0, 60.0]]))
    poisson = (STEEL**2 - 2) / (2 * (STEEL**2 - 1))
    opens = [STEEL**2 - 2 * np.cos(v) ** 2 for v in (one, other)]
    slides = [np.sin(2 * v) for v in (one, other)]
    swept = (1 - poisson) * np.pi * half**2 * k**2  # ∫ √(a²−x²) dx = πa²/2
    size = np.sqrt(k / (2 * np.pi)) * swept / (2 * k * STEEL**2)
    wanted = size * np.abs(opens[0] * opens[1] + slides[0] * slides[1])
    found = strip_far_field(k, 2 * half, one, other, STEEL)
    assert np.abs(found) == pytest.approx(wanted, rel=1e-3)
    assert np.angle(found * np.exp(0.25j * np.pi)) == pytest.approx(
        np.angle(found[0] * np.exp(0.25j * np.pi)), abs=1e-3
    )
