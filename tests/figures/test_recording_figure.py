"""The figure of a recording shows its numbers, and says in words what it can't show."""

import itertools

import numpy as np
import pytest

from qualify.figures.palette import SMALL_PT
from qualify.figures.recording import RecordingView, recording_alt_text, recording_figure
from tests.figures.test_layout import texts_of

N = 12
LEVELS = (*(-0.25 * k for k in range(N - 1)), -70.0)
RESIDUAL = np.where(np.eye(N) == 1, np.nan, np.subtract.outer(np.arange(N), np.arange(N)) - 40.0)
CLIPPED = np.zeros((N, N))
CLIPPED[2, 5] = 0.25
FULL = RecordingView(
    "plate_07.h5", "gate: rejected; clipping: 0.25 of the samples", LEVELS, LEVELS[::-1], -12.0,
    RESIDUAL, CLIPPED,
)  # fmt: skip
HALF = RecordingView(
    "plate_08.h5", "gate: accepted", LEVELS, None, -12.0, None, np.zeros((N, N)),
    no_residual="half a matrix holds each pair once",
)  # fmt: skip
SILENT = RecordingView(
    "plate_09.h5", "gate: rejected; silent: every sample is zero", None, None, -12.0, None,
    np.zeros((N, N)), "every sample is zero", "no signal within the band of the probe",
)  # fmt: skip
VIEWS = {"full": FULL, "half": HALF, "silent": SILENT}


def axes_of(figure):
    return {axes.get_label(): axes for axes in figure.axes}


def test_levels_and_maps_are_drawn_as_given():
    axes = axes_of(recording_figure(FULL))
    lines = {line.get_gid(): line for line in axes["levels"].lines}
    np.testing.assert_allclose(lines["transmit"].get_ydata()[:-1], LEVELS[:-1])
    assert lines["transmit"].get_ydata()[-1] == -40.0, "below the axis it stands at its foot"
    np.testing.assert_allclose(lines["receive"].get_ydata()[1:], LEVELS[::-1][1:])
    maps = {name: a.images[0] for name, a in axes.items() if a.images and "bar" not in name}
    drawn = [image.get_array() for image in maps.values()]
    np.testing.assert_array_equal(drawn[0].filled(np.nan), RESIDUAL)
    np.testing.assert_array_equal(drawn[1], 100.0 * CLIPPED)
    assert [image.get_clim() for image in maps.values()] == [(-60.0, 0.0), (0.0, 25.0)]


def test_a_loud_element_is_inside_the_axes():
    loud = RecordingView("r", "gate: accepted", (15.0, *LEVELS[1:]), None, -12.0, None, CLIPPED)
    assert axes_of(recording_figure(loud))["levels"].get_ylim()[1] > 15.0


@pytest.mark.parametrize("name", VIEWS)
def test_texts_stand_apart_and_are_large_enough(name):
    figure = recording_figure(VIEWS[name], mark="SYNTHETIC")
    found = texts_of(figure)
    for (a, one), (b, other) in itertools.combinations(found, 2):
        apart = (
            min(one.x1, other.x1) - max(one.x0, other.x0) <= 0.5
            or min(one.y1, other.y1) - max(one.y0, other.y0) <= 1.5
        )
        assert apart, (a.get_text(), b.get_text())
    assert min(text.get_fontsize() for text, _ in found) >= SMALL_PT
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.x1 for _, box in found)
    assert sum(text.get_text() == "SYNTHETIC" for text, _ in found) == 1


def test_what_is_not_there_is_said_in_words():
    words = " ".join(text.get_text() for text, _ in texts_of(recording_figure(SILENT)))
    assert "No levels: every sample is zero." in words
    assert "Not shown: no signal within the band" in words
    assert "transmitter and receiver together" in " ".join(
        text.get_text() for text, _ in texts_of(recording_figure(HALF))
    )


def test_the_words_in_place_of_the_figure_hold_its_numbers():
    words = recording_alt_text(FULL)
    assert "Levels of the elements from -70.0 to 0.0 dB." in words
    assert "Reciprocal signals differ by at most -29.0 dB." in words
    assert "0.694 % of the pairs hold clipped samples." in words
    assert "No reciprocity: half a matrix" in recording_alt_text(HALF)
