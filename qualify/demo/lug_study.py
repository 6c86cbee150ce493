"""Recordings, images and reading of the lug coupons, as the files of the demonstration say them.

The array, modes and electronics are those of the set-up studies. The grain level is the one that
the recorded pilot on the open coupons chose (`qualify.demo.pilot`).
"""

from collections.abc import Mapping
from typing import Any

from qualify.blocks.definition import Block
from qualify.demo.assumptions import READERS
from qualify.demo.seeds import SEED
from qualify.demo.setup_studies import CONDITIONS, MODES, PROBE
from qualify.demo.trial import MODEL_MODES, Trial
from qualify.files import validated
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.reading_plan import ReadingPlan
from qualify.study.simulation_plan import SimulationPlan
from qualify.study.toml_text import to_toml

STUDY_ID = "lug-demo"
SCAN_LINE_MM, THICKNESS_MM = 15.0, 60.0
GRAIN_POINTS_PER_MM2 = 12.0
LOST_DB = 40.0
"""Each way: the probe ran dry, and the back wall is gone."""
REGION = {"x_from_mm": -13.0, "x_to_mm": 13.0, "z_from_mm": 4.0, "z_to_mm": 56.0}
IMAGED = {"x_from_mm": -13.0, "x_to_mm": 13.0, "z_from_mm": 3.0, "z_to_mm": 62.0}
STEP_X_MM, STEP_Z_MM = 0.25, 0.2
SAMPLING_MHZ, SAMPLES = 25.0, 540
RATE = 0.02
READ = ("linear", "sectorial", "total_focusing", "coherence")
RINGING = {
    "x_from_mm": -13.0,
    "x_to_mm": 13.0,
    "z_from_mm": 4.0,
    "z_to_mm": 6.0,
    "reason": "ring-down: the beams of a sector leave from one place, and its ring adds up there",
}
INVENTED = "Everything in this file is invented for a demonstration."


def conditions(grain_db: float) -> dict[str, Any]:
    """Return what the coupons are recorded under, at a grain level."""
    grain = {
        "backscatter_db": grain_db,
        "points_per_mm2": GRAIN_POINTS_PER_MM2,
        "strengths": "even",
    }
    return CONDITIONS | {"grain": grain}


def simulation_plan(
    blocks: Mapping[str, Block], grain_db: float, lost: frozenset[tuple[str, str]]
) -> SimulationPlan:
    """Return the simulation of every grading unit of these blocks.

    lost : block and unit of the places at which the probe ran dry.
    """
    positions: list[dict[str, Any]] = []
    for name, block in blocks.items():
        dry = [unit.id for unit in block.grading_units if (name, unit.id) in lost]
        at = {"block": name, "y_mm": SCAN_LINE_MM}
        wet = [unit.id for unit in block.grading_units if unit.id not in dry]
        positions.append(at | {"units": wet if dry else "all"})
        if dry:
            positions.append(at | {"units": dry, "loss_db": LOST_DB})
    return validated(
        SimulationPlan,
        {
            "format": 1,
            "study": STUDY_ID,
            "provenance": "array, electronics and coupling are assumptions, invented; the grain "
            "level comes from the pilot in pilot.json; as-built values of the blocks are invented",
            "seed": SEED,
            "sampling_mhz": SAMPLING_MHZ,
            "samples": SAMPLES,
            "blocks": [f"blocks/{name}.toml" for name in blocks],
            "probe": PROBE,
            "conditions": conditions(grain_db),
            "positions": positions,
        },
        "simulation.toml",
    )


def imaging_plan(modes: tuple[str, ...] = READ) -> ImagingPlan:
    """Return how every unit is imaged."""
    return validated(
        ImagingPlan,
        {
            "format": 1,
            "region": IMAGED | {"step_mm": STEP_X_MM, "step_z_mm": STEP_Z_MM},
            "modes": [mode for mode in MODES if mode["name"] in modes],
            "control": {
                "depth_mm": THICKNESS_MM,
                "x_from_mm": -3.0,
                "x_to_mm": 3.0,
                "search_mm": 1.5,
                "limit_mm": 0.8,
                "least_db": -40.0,
                "least_coherence": 0.6,
            },
        },
        "imaging.toml",
    )


def reading_plan(blocks: Mapping[str, Block], modes: tuple[str, ...] = READ) -> ReadingPlan:
    """Return how images are read, by rule and by the models of readers."""
    told = {
        "format": 1,
        "study": STUDY_ID,
        "provenance": "rule, and numbers of the models of readers: invented, set before any blind "
        "image was read; open images had been looked at by rule before",
        "seed": SEED,
        "declared_rate": RATE,
        "open_blocks": [name for name in blocks if "_open_" in name],
        "reference_z_mm": 30.0,
        "group_x_mm": 4.0,
        "group_z_mm": 4.0,
        "region": REGION,
        "modes": [_read(mode) for mode in modes],
    }
    if set(MODEL_MODES) <= set(modes):
        told["readers"] = [{"reader": reader} | row for reader, row in READERS.items()]
        told["model_modes"] = list(MODEL_MODES)
    return validated(ReadingPlan, told, "reading.toml")


def _read(mode: str) -> dict[str, Any]:
    if mode == "coherence":
        own = {"name": mode, "size_method": "coherence_extent"}
        return own | {"control_in": "total_focusing"}
    masks = [RINGING] if mode == "sectorial" else []
    method = {"name": mode, "size_method": "six_db_drop", "also": ["tip_separation"]}
    return method | {"masks": masks}


def study_texts(blocks: Mapping[str, Block], trial: Trial, grain_db: float) -> dict[str, str]:
    """Return simulation, imaging and reading file of the demonstration, by name."""
    coupons = {name: block for name, block in blocks.items() if name.startswith("lug_coupon")}
    lost = frozenset(
        (row.block.id, row.units[number - 1].id)
        for row in trial.key
        for code, number in trial.lost
        if row.code == code
    )
    head = "{what}\n" + INVENTED
    return {
        "simulation.toml": to_toml(
            simulation_plan(coupons, grain_db, lost),
            head=head.format(what="The recordings: one over the middle of every grading unit."),
        ),
        "imaging.toml": to_toml(
            imaging_plan(), head=head.format(what="Four modes from the same recordings.")
        ),
        "reading.toml": to_toml(
            reading_plan(coupons),
            head=head.format(what="How images become calls: by rule, and by models of readers."),
        ),
    }
