"""Time all analyses of a large invented study: 100 targets, 5 readers, 4 modes, 150 blank units.

`python -m tests.benchmarks.large_study`, from the root. It prints each stage; no test rests on it.
"""

import sys
import time
from datetime import date

import numpy as np

from qualify.reading.key import SetRow
from qualify.reading.tables import MatchedCallRow, MeasurementRow, OpportunityRow, Tables, frame
from qualify.study.result import StudyInputs
from qualify.study.run import run_study
from tests.study.small import make_declaration, make_plan

KIND, TARGETS, BLANKS = "side_drilled_hole", 100, 150
READERS = ("R1", "R2", "R3", "R4", "R5")
MODES = {"linear": 1.4, "sectorial": 1.6, "total_focusing": 1.2, "coherence": 1.1}


def tables() -> Tables:
    """Readings that go together; sizes of found targets with an error of 0.2 mm."""
    rng = np.random.default_rng(11)
    sizes = np.geomspace(0.3, 6.0, TARGETS)
    hard = rng.normal(size=TARGETS)
    common = {"signal": "measured", "read_by": "person", "set": "blind", "examined": 1}
    rows, sized, calls = [], [], []
    for mode, a50 in MODES.items():
        for reader in READERS:
            own = {"specimen": "plate", "mode": mode, "reader": reader}
            look = {**own, **common}
            strict = 0.2 * rng.normal()
            for i, size in enumerate(sizes):
                hidden = 0.7 * hard[i] + 0.7 * rng.normal() + strict
                hit = int(2.2 * np.log(size / a50) > hidden)
                target = {"target": f"H{i}", "kind": KIND}
                depth = 5.0 + 50.0 * ((37 * i) % TARGETS) / TARGETS
                more = {"grading_unit": f"U{i}", "size_mm": size, "size_u_mm": 0.01}
                rows.append(OpportunityRow(**look, **target, **more, hit=hit, depth_mm=depth))
                told = max(0.05, size + 0.2 * rng.normal()) if hit else None
                sized.append(
                    MeasurementRow(
                        **own, **target, quantity="diameter_mm", found=hit, true=size,
                        true_u=0.01, reported=told, unit="mm",
                    )
                )  # fmt: skip
            for i in range(BLANKS):
                called = rng.random() < 0.02
                unit = {"grading_unit": f"B{i}"}
                rows.append(OpportunityRow(**look, **unit, kind="blank", hit=int(called)))
                if called:
                    calls.append(
                        MatchedCallRow(**own, **unit, match="false_call_blank", rule="grading_unit")
                    )
    return Tables(
        frame(rows, OpportunityRow), frame(calls, MatchedCallRow), frame(sized, MeasurementRow)
    )


def inputs() -> StudyInputs:
    """Return the study, as finished tables."""
    modes = [
        {
            "id": mode, "name": mode, "reading_rule": "by eye", "set_up_by": "B",
            "status": "candidate" if mode == "coherence" else "accepted",
        }
        for mode in MODES
    ]  # fmt: skip
    sets = tuple(
        SetRow(target=f"H{i}", block="plate", set="blind", from_date=date(2026, 1, 10))
        for i in range(TARGETS)
    )
    return StudyInputs(
        name="large", plan=make_plan(modes=modes), declaration=make_declaration(), blocks=(),
        sets=sets, key=(), calls=(), finished=tables(), files=(),
    )  # fmt: skip


def main() -> None:
    """Print the seconds of each stage, and of all."""
    study = inputs()
    begun = last = time.perf_counter()
    name = ""

    def step(stage: str) -> None:
        nonlocal last, name
        now = time.perf_counter()
        if name:
            sys.stdout.write(f"{now - last:6.1f} s  {name}\n")
        last, name = now, stage

    run_study(study, step)
    step("")
    sys.stdout.write(f"{time.perf_counter() - begun:6.1f} s  in all\n")


if __name__ == "__main__":
    main()
