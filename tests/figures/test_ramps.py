"""The two ramps rise in lightness: in colour, in grey, and for three kinds of colour vision."""

import numpy as np
import pytest

from qualify.figures.palette import GREY, PAPER
from qualify.figures.ramps import RAMPS, colour_map, ramp_colours

UNITS = ("db", "coherence")
# Severity 1.0, linear RGB. Source: Machado, Oliveira and Fernandes 2009, from memory.
VISION = {
    "all three primaries": np.eye(3),
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
# Source: IEC 61966-2-1, sRGB to XYZ, from memory.
XYZ_OF_RGB = [
    [0.4124564, 0.3575761, 0.1804375],
    [0.2126729, 0.7151522, 0.0721750],
    [0.0193339, 0.1191920, 0.9503041],
]


def seen(colours, vision="all three primaries"):
    """Linear RGB (n, 3) of sRGB as seen. Source: IEC 61966-2-1, from memory."""
    colours = np.atleast_2d(colours)
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    return np.clip(linear @ np.array(VISION[vision]).T, 0.0, 1.0)


def lab(linear):
    """CIELAB (n, 3), white point D65. Source: CIE 15, from memory."""
    t = linear @ np.array(XYZ_OF_RGB).T / (0.95047, 1.0, 1.08883)
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )


def of_hex(colour):
    return np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255


def printed(unit):
    """Colours as a picture holds them: 8 bits a channel."""
    return np.asarray(colour_map(unit)(np.arange(256), bytes=True))[:, :3] / 255


def test_the_formulas_of_this_test_give_the_known_primaries():
    """Source: tables of CIELAB of the sRGB primaries, from memory; tolerance of their rounding."""
    known = {"#ff0000": (53.24, 80.09, 67.20), "#00ff00": (87.73, -86.18, 83.18)}
    known |= {"#0000ff": (32.30, 79.19, -107.86), "#ffffff": (100, 0, 0)}
    for colour, wanted in known.items():
        assert lab(seen(of_hex(colour)))[0] == pytest.approx(wanted, abs=0.03)
    for matrix in VISION.values():  # white stays white
        assert np.sum(matrix, axis=1) == pytest.approx([1, 1, 1], abs=5e-6)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("vision", VISION)
def test_lightness_rises_with_every_step_whatever_the_colour_vision(unit, vision):
    lightness = lab(seen(ramp_colours(unit), vision))[:, 0]
    assert np.diff(lightness).min() > 0.1
    assert lightness[-1] - lightness[0] > 70


@pytest.mark.parametrize("unit", UNITS)
def test_lightness_rises_in_a_straight_line_in_8_bits_too(unit):
    lightness = lab(seen(printed(unit)))[:, 0]
    straight = np.linspace(lightness[0], lightness[-1], 256)
    assert np.abs(lightness - straight).max() < 0.6
    assert np.diff(lightness).min() > 0


@pytest.mark.parametrize("unit", UNITS)
def test_a_grey_print_rises_too(unit):
    """Luma 0.299 R + 0.587 G + 0.114 B, as printers turn colour to grey (ITU-R BT.601)."""
    luma = ramp_colours(unit) @ (0.299, 0.587, 0.114)
    assert np.diff(luma).min() > 0


@pytest.mark.parametrize("unit", UNITS)
def test_a_ramp_keeps_one_hue_and_its_lowest_value_is_dark(unit):
    lightness, a, b = lab(seen(ramp_colours(unit))).T
    hue = np.degrees(np.arctan2(b, a)) % 360
    assert np.ptp(hue) < 1.0
    assert hue.mean() == pytest.approx(RAMPS[unit].hue_deg, abs=0.5)
    assert lightness[0] < 15
    assert 85 < lightness[-1] < 95
    assert np.hypot(a, b).min() > 12  # no grey, no white


@pytest.mark.parametrize("vision", ["all three primaries", "protanopia", "deuteranopia"])
def test_the_ramps_are_told_apart_at_equal_lightness(vision):
    """CIE 1976 colour difference of 15 or more; just noticeable is about 2 (from memory)."""
    one, other = (lab(seen(ramp_colours(unit), vision)) for unit in UNITS)
    assert np.linalg.norm(one - other, axis=1).min() > 15


def test_the_middles_of_the_ramps_are_told_apart_without_the_third_primary():
    one, other = (lab(seen(ramp_colours(unit)[96:160], "tritanopia")) for unit in UNITS)
    assert np.linalg.norm(one - other, axis=1).min() > 15


@pytest.mark.parametrize("unit", UNITS)
def test_what_is_not_covered_has_no_colour_of_a_ramp(unit):
    for ground in (PAPER, GREY):
        away = np.linalg.norm(lab(seen(ramp_colours(unit))) - lab(seen(of_hex(ground))), axis=1)
        assert away.min() > 15
    assert colour_map(unit)(np.ma.masked_invalid([np.nan]))[0, 3] == 0.0
