"""What is drawn is what was given: counts, places, lines; and the words say the same numbers."""

import dataclasses

import numpy as np
import pytest

from qualify.figures.pod import PodPanel, pod_alt_text, pod_figure
from qualify.figures.sizing import sizing_alt_text, sizing_figure
from qualify.figures.trial import (
    false_call_alt_text,
    false_call_figure,
    order_of_events_alt_text,
    order_of_events_figure,
)
from tests.figures.examples import (
    AT_VALUES,
    EVENTS,
    FALSE_CALLS,
    ONE_SIZE,
    SIX_PODS,
    SIX_SIZINGS,
    WITH_OTHERS,
)


def xy(figure, gid):
    return figure.findobj(lambda artist: artist.get_gid() == gid)[0].get_xydata()


@pytest.mark.parametrize("panels", [SIX_PODS, (ONE_SIZE,)], ids=["six", "one size"])
def test_every_hit_and_miss_is_one_mark_at_its_own_size_and_none_hides_another(panels):
    figure = pod_figure(panels)
    for k, panel in enumerate(panels):
        for gid, wanted in (("hits", True), ("misses", False)):
            drawn = xy(figure, f"pod-{k}-{gid}")
            sizes = [s for s, hit in zip(panel.sizes, panel.hits, strict=True) if hit is wanted]
            assert sorted(drawn[:, 0]) == sorted(sizes)
            assert len({tuple(point) for point in drawn}) == len(sizes)
            assert all(y >= 1 for y in drawn[:, 1]) if wanted else all(y <= 0 for y in drawn[:, 1])


def test_the_title_counts_what_was_found():
    written = [text.get_text() for text in pod_figure((ONE_SIZE,)).axes[0].texts]
    assert "40 of 60 found" in written
    assert ONE_SIZE.message in written


def test_the_curve_is_solid_inside_the_tested_sizes_and_dashed_outside():
    panel = SIX_PODS[0]
    axes = pod_figure((panel,)).axes[1]
    curves = [line for line in axes.lines if line.get_linewidth() == 1.3]
    solid, dashed = (np.isfinite(line.get_ydata()) for line in curves)
    sizes = np.array(panel.curve_sizes)
    low, high = panel.tested_range
    np.testing.assert_array_equal(solid, (sizes >= low) & (sizes <= high))
    assert dashed[sizes < low].all()
    assert dashed[sizes > high].all()
    assert (solid & dashed).sum() == 2  # they meet at either end of the range
    assert not curves[0]._dash_pattern[1]
    assert curves[1]._dash_pattern[1]


def test_no_curve_is_drawn_where_none_was_fitted():
    axes = pod_figure(SIX_PODS[3:4]).axes[1]
    assert [line for line in axes.lines if line.get_linewidth() == 1.3] == []


def test_curves_of_other_models_are_told_apart_without_colour():
    figure = pod_figure(WITH_OTHERS)
    lines = [figure.findobj(lambda a, k=k: a.get_gid() == f"pod-0-other-{k}")[0] for k in range(3)]
    for line, other in zip(lines, WITH_OTHERS[0].others, strict=True):
        np.testing.assert_array_equal(line.get_xdata(), other.sizes)
        np.testing.assert_array_equal(line.get_ydata(), other.pod)
    assert [line.get_marker() for line in lines] == ["None", "None", "^"]
    dashed = [bool(line._dash_pattern[1]) for line in lines]
    assert dashed == [True, True, False]
    written = [text.get_text() for text in figure.axes[0].texts]
    for words in ("curve of the plan (logit, log)", "near-equal model, a line each"):
        assert words in written
    told = pod_alt_text(WITH_OTHERS)
    assert "near-equal model logit in size: a90 1.10 mm" in told
    assert "curve with a plateau at 85.0 %: no a90" in told


def test_curves_at_values_of_a_covariate_differ_by_their_marks():
    figure = pod_figure(AT_VALUES)
    lines = [figure.findobj(lambda a, k=k: a.get_gid() == f"pod-0-other-{k}")[0] for k in range(3)]
    assert [line.get_marker() for line in lines] == ["o", "s", "D"]
    assert "at tilt 30.0°: a90 1.40 mm" in pod_alt_text(AT_VALUES)


def test_a_bound_that_does_not_exist_leaves_a_gap():
    panel = dataclasses.replace(
        SIX_PODS[0], bound_sizes=(None, 0.5, 0.8), bound_pod=(0.2, 0.5, 0.9)
    )
    assert pod_figure((panel,)).axes[1].lines


def test_sizes_and_hits_that_differ_in_number_are_refused():
    with pytest.raises(ValueError, match="zip"):
        pod_figure((PodPanel("odd", "size", "mm", (1.0, 2.0), (True,)),))


def test_sized_unsized_and_missed_targets_are_all_drawn_by_different_shapes():
    figure = sizing_figure(SIX_SIZINGS)
    shapes = set()
    for k, panel in enumerate(SIX_SIZINGS):
        if panel.true_sizes:
            drawn = xy(figure, f"sizing-{k}-sized")
            np.testing.assert_array_equal(drawn[:, 0], panel.true_sizes)
            np.testing.assert_array_equal(drawn[:, 1], panel.reported_sizes)
        for name, values in (("unsized", panel.unsized_true), ("missed", panel.missed_true)):
            if values:
                assert tuple(xy(figure, f"sizing-{k}-{name}")[:, 0]) == values
    for gid in ("sizing-0-sized", "sizing-0-unsized", "sizing-0-missed"):
        shapes.add(figure.findobj(lambda a, g=gid: a.get_gid() == g)[0].get_marker())
    assert len(shapes) == 3


def test_false_call_rates_stand_at_their_values_with_their_counts():
    figure = false_call_figure(FALSE_CALLS, limit_observed=0.05, limit_upper=0.1)
    for k in (0, 1, 2, 4):
        assert xy(figure, f"false-calls-{k}").tolist() == [[FALSE_CALLS[k].observed_fraction, k]]
    written = [text.get_text() for text in figure.axes[0].texts]
    for words in (
        "3 of 152",
        "9 of 152",
        "0 of 152",
        "0 of 0",
        "no blank unit examined",
        "5 %",
        "10 %",
    ):
        assert words in written


def test_events_are_told_apart_by_shape():
    figure = order_of_events_figure(EVENTS)
    marks = [a.get_marker() for a in figure.findobj(lambda a: "event-" in (a.get_gid() or ""))]
    assert len(marks) == len(EVENTS)
    assert len(set(marks)) == 3


def test_alternative_texts_carry_the_numbers():
    pod = pod_alt_text(SIX_PODS)
    assert "Coherence, R1: 36 of 60 found; sizes tested 0.20 to 2.00 mm; a90 0.94 mm" in pod
    assert "a90/95 1.26 mm; limit on a90/95 1.00 mm." in pod
    assert "60 of 60 found" in pod
    assert "Every target was found: no curve can be fitted." in pod
    sizing = sizing_alt_text(SIX_SIZINGS)
    assert "24 sized, 3 found without a size, 5 missed; bias −0.30 mm" in sizing
    assert "95/95 tolerance interval of the error −1.90 to 1.40 mm" in sizing
    calls = false_call_alt_text(FALSE_CALLS, limit_observed=0.05, limit_upper=0.1)
    assert "R1, coherence: 3 of 152, observed 1.97 %, upper 95 % bound 5.02 %" in calls
    assert "Limit on the upper bound: 10 %." in calls
    events = order_of_events_alt_text(EVENTS)
    assert events.index("Plan frozen") < events.index("Reader R1") < events.index("no date")


@pytest.mark.parametrize(
    "words",
    [pod_alt_text(()), sizing_alt_text(()), false_call_alt_text(()), order_of_events_alt_text(())],
)
def test_empty_data_are_told_in_words(words):
    assert words.startswith("No ")
