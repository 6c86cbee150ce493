"""Simulation and imaging files of the set-up blocks: array, conditions, modes and questions.

The array stands over each target in turn. Levels and thresholds are round assumptions of ours; they
claim nothing of a steel or an instrument.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from qualify.blocks.definition import Block
from qualify.demo.seeds import SEED
from qualify.files import validated
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.simulation_plan import SimulationPlan
from qualify.study.toml_text import to_toml

PROBE: dict[str, Any] = {
    "name": "LUG-ARRAY",
    "elements": 60,
    "pitch_mm": 0.62,
    "element_width_mm": 0.52,
    "passive_width_mm": 11.0,
    "centre_mhz": 5.0,
    "bandwidth_fraction": 0.7,
}
CONDITIONS: dict[str, Any] = {
    "receiver": {"set_on_wall_mm": 60.0, "wall_fraction": 0.5},
    "grain": {"backscatter_db": -40.0},
    "electronics": {"noise_db": -70.0, "ring_down_db": 10.0},
    "contact": {"loss_scatter_db": 0.5, "patch_scatter_db": 0.5, "element_scatter_db": 0.5},
}
MODES: tuple[dict[str, Any], ...] = (
    {"name": "linear", "focusing": "linear", "aperture_elements": 20},
    {
        "name": "sectorial",
        "focusing": "sectorial",
        "aperture_elements": 20,
        "angle_from_deg": -30.0,
        "angle_to_deg": 30.0,
        "angle_step_deg": 1.0,
    },
    {"name": "total_focusing", "focusing": "total_focusing"},
    {
        "name": "coherence",
        "focusing": "total_focusing",
        "show": "coherence",
        "measure": "vector_coherence",
        "pairs": "all",
    },
)
THRESHOLD_DB, THRESHOLD_COHERENCE = -40.0, 0.3
HALF_BOX_MM, ABOVE_MM, BELOW_MM = 1.5, 0.7, 0.3  # around a hole: above its top, below its centre
FIRST_Z_MM = 0.25
STEP_X_MM = 0.15  # total focusing shows a point 0.4 mm wide at a depth of 5 mm
PROVENANCE = (
    "the array is that of the demonstration's scenario; levels of grain, noise, ring-down and "
    "coupling are assumptions, invented; the block file holds as-built values, invented too"
)
HEAD = "{title}: {what}\nEverything in this file is invented for a demonstration."


@dataclass(frozen=True, slots=True)
class SetupStudy:
    """How one set-up block is recorded and looked at.

    Attributes
    ----------
    name, block : of the study, and of its block. from_face : scanned from it.
    y_mm : scan line. samples : of each signal.
    step_z_mm : of the images, in depth. noise_mm : z, and x, between which noise is taken.
    dead_zone_to_mm : down to where the end of the dead zone is looked for; None: it is not.
    """

    name: str
    block: str
    from_face: str
    y_mm: float
    samples: int
    step_z_mm: float
    noise_mm: tuple[float, float, float, float]
    dead_zone_to_mm: float | None = None


STUDIES = (
    SetupStudy("near_surface", "near_surface", "A", 15.0, 1024, 0.15, (-8, 8, 30, 45), 30.0),
    SetupStudy("near_surface_from_b", "near_surface", "B", 15.0, 1024, 0.15, (-8, 8, 10, 30)),
    SetupStudy("depth_ladder", "depth_ladder", "A", 30.0, 2048, 0.25, (-8, 8, 92.5, 98)),
)


def block_text(study: SetupStudy, texts: Mapping[str, str]) -> str:
    """Return the text of a study's block, its scan surface the face that is scanned."""
    words = texts[study.block]
    asked = f'scan_surface = "{study.from_face}"'
    return words if asked in words else words.replace('scan_surface = "A"', asked)


def setup_study_texts(texts: Mapping[str, str]) -> dict[str, str]:
    """Return simulation and imaging file of every study, by name relative to their folder.

    texts : of the set-up blocks, by id.
    """
    out: dict[str, str] = {}
    for study in STUDIES:
        block = validated(Block, tomllib.loads(block_text(study, texts)), study.block)
        title = f"{block.title} from face {study.from_face}"
        simulation = validated(SimulationPlan, _simulation(study), study.name)
        imaging = validated(ImagingPlan, _imaging(study, block), study.name)
        out[f"{study.name}/simulation.toml"] = to_toml(
            simulation, head=HEAD.format(title=title, what="array, conditions and places.")
        )
        what = (
            "region, modes and controls.\nTargets are weighed by qualify set-up, each in its own "
            "recording.\nThresholds are round assumptions."
        )
        out[f"{study.name}/imaging.toml"] = to_toml(
            imaging, head=HEAD.format(title=title, what=what)
        )
    return out


def _simulation(study: SetupStudy) -> dict[str, Any]:
    place = {"block": study.block, "targets": "each", "y_mm": study.y_mm, "twins": True}
    return {
        "format": 1,
        "study": study.name,
        "provenance": PROVENANCE,
        "seed": SEED,
        "sampling_mhz": 50.0,
        "samples": study.samples,
        "blocks": [f"blocks/{study.block}.toml"],
        "probe": PROBE,
        "conditions": CONDITIONS,
        "positions": [place],
    }


def _imaging(study: SetupStudy, block: Block) -> dict[str, Any]:
    thickness = block.outline.thickness_mm
    x_from, x_to, z_from, z_to = (float(value) for value in study.noise_mm)
    found: dict[str, Any] = {
        "format": 1,
        "region": {
            "x_from_mm": -8.0,
            "x_to_mm": 8.0,
            "z_from_mm": FIRST_Z_MM,
            "z_to_mm": thickness + 1.75,
            "step_mm": STEP_X_MM,
            "step_z_mm": study.step_z_mm,
        },
        "modes": _modes(thresholds=study.dead_zone_to_mm is not None),
        "noise": {"x_from_mm": x_from, "x_to_mm": x_to, "z_from_mm": z_from, "z_to_mm": z_to},
        "control": {
            "depth_mm": thickness,
            "x_from_mm": -3.0,
            "x_to_mm": 3.0,
            "search_mm": 1.5,
            "limit_mm": 0.5,
            "least_db": THRESHOLD_DB,
            "least_coherence": THRESHOLD_COHERENCE,
        },
        "fidelity_points": [
            {"x_mm": 0.0, "z_mm": z} for z in (5.0, 20.0, 40.0, 80.0) if z < thickness
        ],
    }
    if study.dead_zone_to_mm is not None:
        found["near_surface"] = {
            "x_from_mm": -3.0,
            "x_to_mm": 3.0,
            "search_to_mm": study.dead_zone_to_mm,
            "clear_mm": 5.0,
        }
    return found


def _modes(*, thresholds: bool) -> list[dict[str, Any]]:
    if not thresholds:
        return list(MODES)
    return [
        mode | {"threshold": THRESHOLD_COHERENCE if "show" in mode else THRESHOLD_DB}
        for mode in MODES
    ]
