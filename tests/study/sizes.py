"""Tables of sizes in code: slots of several tilts, some missed, unsized or not examined."""

import math

from qualify.reading.tables import MatchedCallRow, MeasurementRow, OpportunityRow, Tables, frame

KIND = "embedded_slot"


def outcome(number: int) -> str:
    """What became of a target: every eleventh missed, and so on; the rest were sized."""
    return {3: "missed", 7: "unsized", 9: "not examined"}.get(number % 11, "sized")


def true_of(number: int) -> float:
    return round(1.0 + 0.2 * number, 3)


def error_of(number: int) -> float:
    return round(0.4 - 0.12 * true_of(number) + 0.3 * math.sin(5.0 * number), 4)


def size_tables(n=33, readers=("R1",), *, true_u=0.05, reported_u=None, tilts=(0.0, 14.0, 31.0)):
    """Every reader sees the same; reader k adds 0.1 k to each reported size."""
    opportunities, measurements = [], []
    for k, reader in enumerate(readers):
        for i in range(n):
            what = outcome(i)
            same = {"specimen": "P", "target": f"S{i}", "kind": KIND, "mode": "linear",
                    "reader": reader}  # fmt: skip
            opportunities.append(OpportunityRow(
                **same, set="blind", grading_unit=f"U{i}", size_mm=true_of(i), signal="measured",
                read_by="person", examined=int(what != "not examined"),
                hit=int(what in ("sized", "unsized")), tilt_deg=tilts[i % len(tilts)],
            ))  # fmt: skip
            sized = what == "sized"
            measurements.append(MeasurementRow(
                **same, quantity="extent_mm", found=int(what in ("sized", "unsized")),
                true=true_of(i), true_u=true_u, unit="mm",
                reported=true_of(i) + error_of(i) + 0.1 * k if sized else None,
                reported_u=reported_u if sized else None,
            ))  # fmt: skip
    return Tables(
        frame(opportunities, OpportunityRow),
        frame([], MatchedCallRow),
        frame(measurements, MeasurementRow),
    )
