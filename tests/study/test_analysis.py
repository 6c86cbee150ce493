"""Notices of a curve, as far as they depend on which targets were examined."""

import pytest

from qualify.reading.tables import MatchedCallRow, MeasurementRow, OpportunityRow, Tables, frame
from qualify.study.analysis import analyse
from tests.study.small import make_plan


def opportunities(last_examined: int) -> Tables:
    """Sixty holes with overlap around 1 mm; the largest, 4 mm, is no hit."""
    sizes = [round(0.3 * 1.045**i, 4) for i in range(59)] + [4.0]
    rows = [
        OpportunityRow(
            specimen="plate",
            set="blind",
            grading_unit=f"U{i}",
            target=f"H{i}",
            kind="side_drilled_hole",
            size_mm=size,
            mode="linear",
            reader="R1",
            signal="measured",
            read_by="person",
            examined=last_examined if size == 4.0 else 1,
            hit=int(size < 4.0 and (size > 1.0) != (i % 7 == 0 and 0.6 < size < 1.6)),
        )
        for i, size in enumerate(sizes)
    ]
    return Tables(frame(rows, OpportunityRow), frame([], MatchedCallRow), frame([], MeasurementRow))


@pytest.mark.parametrize("examined", [0, 1])
def test_a_lapse_is_a_miss_of_a_target_that_was_examined(examined):
    """At 1.5 a90 and more a miss puts the curve in doubt; a unit not examined is no lapse."""
    out = analyse({"as_found": opportunities(examined)}, make_plan(), ["R1"])
    fit = out.fits[("as_found", "side_drilled_hole", "linear", "R1")]
    assert fit.a90 is not None
    assert 1.5 * fit.a90 < 4.0
    assert ("lapses" in [n.code for n in out.notices]) is bool(examined)
