"""A small trial, invented: an open block of blanks; a coded one with a hole, which lies turned."""

import tomllib

from qualify.blocks.definition import Block
from qualify.recording.archive import recording_bytes
from qualify.study.data import Sources
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.reading_plan import ReadingPlan
from qualify.study.simulation import load_simulation
from qualify.study.simulation_plan import SimulationPlan
from qualify.study.simulation_run import make_recording, simulator_of
from qualify.study.template import example_text
from qualify.study.toml_text import to_toml

OPEN, BLIND, CODE, OFFSET_MM = "OP-01", "BL-01", "QKZT", 2.0
SPOTS = {OPEN: tuple(20.0 + 28.0 * k for k in range(12)), BLIND: (40.0, 92.0, 230.0)}
HALF_UNIT_MM = 10.0
IMAGING = {
    "format": 1,
    "region": {
        "x_from_mm": -6.0, "x_to_mm": 6.0, "z_from_mm": 4.0, "z_to_mm": 42.0, "step_mm": 0.5,
    },
    "modes": [
        {"name": "total", "focusing": "total_focusing"},
        {"name": "coherence", "focusing": "total_focusing", "show": "coherence",
         "measure": "vector_coherence"},
    ],
    "control": {
        "depth_mm": 40.0, "x_from_mm": -2.0, "x_to_mm": 2.0, "search_mm": 1.5, "limit_mm": 0.9,
        "least_db": -60.0, "least_coherence": 0.1,
    },
}  # fmt: skip
READING = {
    "format": 1,
    "study": "small",
    "provenance": "invented, for a test",
    "seed": 1,
    "declared_rate": 0.05,
    "open_blocks": [OPEN],
    "reference_z_mm": 20.0,
    "group_x_mm": 4.0,
    "group_z_mm": 4.0,
    "region": {"x_from_mm": -5.0, "x_to_mm": 5.0, "z_from_mm": 8.0, "z_to_mm": 34.0},
    "modes": [
        {"name": "total", "size_method": "six_db_drop", "also": ["tip_separation"]},
        {"name": "coherence", "size_method": "coherence_extent", "control_in": "total"},
    ],
}
DATA = {
    "format": 1,
    "study": "small",
    "blocks": [f"blocks/{OPEN}.toml", f"blocks/{BLIND}.toml"],
    "key": "key.csv",
}


def block(name):
    told = tomllib.loads(example_text("block"))
    units = [
        {"id": f"U{n}", "x_from_mm": x - HALF_UNIT_MM, "x_to_mm": x + HALF_UNIT_MM}
        for n, x in enumerate(SPOTS[name], start=1)
    ]
    holes = [t for t in told["targets"] if t["id"] == "H1"]  # x = 90 mm, off the middle of its unit
    own = {"id": name, "grading_units": units, "targets": holes if name == BLIND else []}
    return Block.model_validate(told | own)


def simulation():
    told = tomllib.loads(example_text("simulation"))
    told["probe"]["elements"] = 12
    told["conditions"]["grain"]["points_per_mm2"] = 2.0
    told["conditions"]["electronics"]["ring_down_db"] = -20.0
    told["conditions"]["receiver"]["set_on_wall_mm"] = 25.0  # so that nothing is clipped
    places = [{"block": name, "units": "all", "y_mm": 15.0} for name in SPOTS]
    own = {"samples": 600, "blocks": DATA["blocks"], "positions": places}
    return SimulationPlan.model_validate(told | own)


def written(folder, *, simulated=True):
    """Write the files of the trial and return its folder."""
    files = {
        "imaging.toml": to_toml(ImagingPlan.model_validate(IMAGING), head=""),
        "reading.toml": to_toml(ReadingPlan.model_validate(READING), head=""),
        "key.csv": f"code,block,flipped,datum_offset_mm\n{CODE},{BLIND},true,{OFFSET_MM}\n",
        "data.toml": to_toml(Sources.model_validate(DATA), head=""),
        **{f"blocks/{name}.toml": to_toml(block(name), head="") for name in SPOTS},
    }
    if simulated:
        files["simulation.toml"] = to_toml(simulation(), head="")
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def recordings(folder):
    """Return the recordings of a simulated trial by name."""
    study = load_simulation(folder)
    simulators = {name: simulator_of(study, name) for name in SPOTS}
    return {job.name: make_recording(study, job, simulators[job.block]) for job in study.jobs}


def stored(held, folder):
    """Write recordings by name."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, recording in held.items():
        (folder / f"{name}.h5").write_bytes(recording_bytes(recording))
