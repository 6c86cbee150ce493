"""Figures are the same bytes anywhere, hold no date, and can be read in grey."""

import io
import itertools
import os
import subprocess
import sys

import pytest
from PIL import Image

from qualify.figures import palette
from qualify.figures.palette import MARKS, new_figure, render
from tests.figures.examples import FIGURES

SCRIPT = """
import hashlib
from qualify.figures.palette import render
from tests.figures.examples import FIGURES
for name in ("all kinds", "pod six", "sizing six", "false calls", "events"):
    made = render(FIGURES[name]())
    print(name, *(hashlib.sha256(part).hexdigest() for part in (made.svg, made.png, made.pdf)))
"""


def test_bytes_are_equal_in_every_process_time_zone_and_hash_seed():
    made = []
    for seed, zone in (("1", "UTC"), ("2", "Pacific/Auckland")):
        env = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone}
        run = subprocess.run(
            [sys.executable, "-c", SCRIPT], env=env, capture_output=True, text=True, check=True
        )
        made.append(run.stdout)
    assert made[0] == made[1]
    assert len(made[0].splitlines()) == 5


def test_a_figure_names_neither_date_nor_maker():
    made = render(FIGURES["events"]())
    assert b"<dc:date>" not in made.svg
    assert b"CreationDate" not in made.pdf
    assert b"Producer" not in made.pdf
    assert b"Software" not in made.png
    assert b"/FontFile2" in made.pdf


def test_the_users_own_settings_change_nothing():
    import matplotlib

    before = render(FIGURES["pod one"]()).png
    with matplotlib.rc_context({"lines.linewidth": 9, "font.size": 20, "axes.grid": True}):
        assert render(FIGURES["pod one"]()).png == before


def test_the_picture_has_150_dots_per_inch_of_its_printed_size():
    picture = Image.open(io.BytesIO(render(new_figure(254.0, 127.0)).png))
    assert picture.size == (1500, 750)
    assert picture.info["dpi"] == pytest.approx((150, 150), abs=0.1)


def test_a_figure_without_size_is_refused():
    with pytest.raises(ValueError, match="positive width"):
        new_figure(0.0, 10.0)


def test_hits_misses_and_false_calls_differ_by_shape_and_in_grey():
    kinds = [MARKS[name] for name in ("hit", "miss", "false_call")]
    assert len({mark.marker for mark in kinds}) == 3
    greys = sorted(luminance(mark.colour) for mark in kinds)
    assert min(b - a for a, b in itertools.pairwise(greys)) > 0.03


def luminance(colour):
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance (from memory)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", ["INK", "GREY", "LIMIT"])
def test_writing_is_dark_enough_on_white(name):
    """Contrast 4.5 : 1. Source: WCAG 2.2, success criterion 1.4.3."""
    assert 1.05 / (luminance(getattr(palette, name)) + 0.05) >= 4.5
