"""Readings by rule as plain values: an a90 is drawn only inside the sizes tested."""

import pytest

from qualify.dossier.rule_views import _mode
from qualify.figures.pod import PodPanel


@pytest.mark.parametrize(
    ("a90", "drawn", "words"),
    [
        (1.2, 1.2, ""),
        (0.1, None, "below the sizes tested"),
        (3.0, None, "above the sizes tested"),
        (None, None, "the slope is too uncertain"),
    ],
)
def test_an_a90_outside_the_sizes_tested_is_told_and_not_drawn(a90, drawn, words):
    panel = PodPanel(
        "made", "diameter", "mm", (0.2, 2.0), (False, True), (0.2, 2.0), (0.1, 0.95),
        a90=a90, tested_range=(0.2, 2.0),
    )  # fmt: skip
    shown = _mode("linear", panel, "the slope is too uncertain")
    assert (shown.a90, shown.no_a90) == (drawn, words)
    assert shown.no_a90_95 == "the slope is too uncertain"
    assert (shown.hits, shown.misses) == ((2.0,), (0.2,))
