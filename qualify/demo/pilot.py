"""The pilot that chose the grain level, on the open coupons alone.

Rule, set beforehand: of the levels tried, take the one at which the linear scan, read by rule at
the declared false-call rate, has its a50 on the open holes nearest to the geometric middle of the
hole sizes. The candidate is told beside and takes no part in the choice; no blind coupon is looked
at. The levels are those of single scattering only in name: see `ENERGY`.
"""

import math
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from qualify.blocks.definition import Block
from qualify.blocks.targets import SideDrilledHole
from qualify.demo.design import HOLES_MM
from qualify.demo.lug_study import RATE, imaging_plan, reading_plan, simulation_plan
from qualify.files import write_whole
from qualify.pod.hit_miss import fit_hit_miss
from qualify.reading.detection import groups, responses
from qualify.reading.matching import BoxRule, match_by_box
from qualify.study.reading_inputs import ReadingInputs, Unit
from qualify.study.reading_stage import thresholds_of
from qualify.study.simulation import load_simulation
from qualify.study.thresholds import ModeThreshold
from qualify.study.toml_text import to_toml
from qualify.study.trial_images import load_trial_image, make_trial_images

LEVELS_DB = (-26.0, -22.0, -18.0, -14.0, -10.0)
MODES = ("linear", "coherence")
BOX = BoxRule(3.0, None, 3.0, add_target_extent=True)
RULE = (
    "of the levels tried, the one at which the linear scan, read by rule at the declared rate, has "
    "its a50 on the open holes nearest to the geometric middle of the hole sizes; the candidate is "
    "told beside, and takes no part"
)
BEFORE = (
    "an earlier pilot used grain of normal strengths: its noise was spikier than Rayleigh noise in "
    "total focusing (ratio of moments 2.24, accepted 1.9 to 2.2), which favours coherence. By the "
    "same rule it gave -18 dB, and a whole trial was run and seen at that level. Grain and level "
    "were then set anew; nothing of the trial at the present level had been seen."
)
ENERGY = (
    "single scattering of that strength would take more energy from the beam than the attenuation "
    "of the blocks allows: the level makes noise for the trial, and describes no steel"
)


def pilot(texts: Mapping[str, str], blocks: Mapping[str, Block], told: Any) -> dict[str, Any]:
    """Return the record of the pilot: what each level gave, and the level chosen."""
    coupons = {name: block for name, block in blocks.items() if "_open_" in name}
    rows = []
    for level in LEVELS_DB:
        with tempfile.TemporaryDirectory() as folder:
            rows.append(_level(Path(folder), level, texts, coupons))
        told(rows[-1])
    return record(rows)


def record(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the record of a pilot from what each level gave."""
    middle = math.sqrt(HOLES_MM[0] * HOLES_MM[1])
    fitted = [row for row in rows if row["linear"]["a50_mm"] is not None]
    chosen = min(fitted, key=lambda row: abs(math.log(row["linear"]["a50_mm"] / middle)))
    return {
        "what": "pilot on the open coupons",
        "rule": RULE,
        "declared_rate": RATE,
        "middle_mm": round(middle, 4),
        "chosen_backscatter_db": chosen["backscatter_db"],
        "before": BEFORE,
        "caution": ENERGY,
        "levels": list(rows),
    }


def _level(
    folder: Path, level: float, texts: Mapping[str, str], coupons: Mapping[str, Block]
) -> dict[str, Any]:
    for name in coupons:
        write_whole(folder / "blocks" / f"{name}.toml", texts[name].encode())
    plan = simulation_plan(coupons, level, frozenset())
    write_whole(folder / "simulation.toml", to_toml(plan, head="pilot").encode())
    imaging = imaging_plan((*MODES, "total_focusing"))
    make_trial_images(load_simulation(folder), imaging, folder, lambda *_: None)
    reading = reading_plan(coupons, MODES)
    inputs = ReadingInputs(folder, reading, imaging, coupons, {}, {})
    thresholds = thresholds_of(inputs, lambda *_: None)
    scattered = 4.0 * math.pi * 10.0 ** (level / 10.0)
    return {
        "backscatter_db": level,
        "scattered_db_per_mm": round(10.0 * math.log10(math.e) * scattered, 4),
        **{mode: _of_mode(inputs, thresholds.of(mode)) for mode in MODES},
    }


def _of_mode(inputs: ReadingInputs, threshold: ModeThreshold) -> dict[str, Any]:
    found = sorted(_holes(inputs, threshold))
    fit = fit_hit_miss(*zip(*found, strict=True), bound="likelihood")
    return {
        "threshold": threshold.threshold,
        "background": threshold.reference,
        "holes_found": sum(hit for _, hit in found),
        "holes": len(found),
        "missed_mm": [size for size, hit in found if not hit],
        "outcome": fit.outcome,
        "a50_mm": None if fit.a50 is None else round(fit.a50, 4),
    }


def _holes(inputs: ReadingInputs, threshold: ModeThreshold) -> Iterable[tuple[float, int]]:
    """Yield size, and whether it was found, of every open hole."""
    for one in inputs.open_units():
        targets = [
            target
            for target in one.block.targets
            if isinstance(target, SideDrilledHole) and one.block.unit_of(target.x_mm) == one.unit
        ]
        if targets:
            calls = list(_calls(inputs, one, threshold))
            hit = {pair.target for pair in match_by_box(calls, targets, BOX)}
            for number, target in enumerate(targets):
                yield target.size.value, int(number in hit)


def _calls(
    inputs: ReadingInputs, one: Unit, threshold: ModeThreshold
) -> Iterable[tuple[float, float | None, float]]:
    held = load_trial_image(one.file).images
    image = next(image for image in held if image.mode == threshold.mode)
    looking = inputs.plan.looking(threshold.mode)
    response = responses(image, threshold.background(), looking)
    for group in groups(image, response, threshold.threshold, looking):
        yield one.middle_mm + group.x_mm, None, group.z_mm
