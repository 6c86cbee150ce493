"""The simulation file: what it is refused for, and what it asks for."""

import re
import tomllib

import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.errors import InputError
from qualify.files import validated
from qualify.study.simulation import load_simulation, simulation_totals
from qualify.study.simulation_plan import SimulationPlan
from qualify.study.template import example_text

BLOCK = example_text("block")
GOOD = re.sub(r"units = \[[^]]*]", 'units = ["U1"]', example_text("simulation"))
CASES = [
    ("seed = 1", "seed = -1", "seed: found -1"),
    ("samples = 1024", "samples = 10", "samples: found 10"),
    ("samples = 1024", "samples = 99999999", "samples: found 99999999"),
    ("sampling_mhz = 40.0", "sampling_mhz = 8.0", "sampling_mhz 8 is below twice"),
    ('matrix = "half"', 'matrix = "third"', "matrix: found 'third'"),
    ("elements = 60", "elements = 1", "probe.elements: found 1"),
    ("backscatter_db = -40.0", "backscatter_db = 3.0", "grain.backscatter_db: found 3.0"),
    ("backscatter_db = -40.0", "bakscatter_db = -60.0", "bakscatter_db: is not a known key"),
    ("noise_db = -70.0", "noise_db = 1.0", "electronics.noise_db: found 1.0"),
    ("noise_from_mhz = 0.5", "noise_from_mhz = 13.0", "noise_to_mhz is not beyond"),
    ("set_on_wall_mm = 60.0", "set_on_wall_mm = 0.0", "receiver.set_on_wall_mm: found 0.0"),
    ('units = ["U1"]', 'units = "some"', "positions.1.units"),
    ('units = ["U1"]', 'units = ["A9"]', "'A9' is no grading unit of EX-01"),
    ('units = ["U1"]', "units = []", "units is empty or holds a value twice"),
    ('units = ["U1"]', 'units = ["U1"]\nx_mm = [30.0]', "2 of units, x_mm and targets are given"),
    ('units = ["U1"]', "x_mm = [-5.0]", "-5 mm is beside the block"),
    ('units = ["U1"]', "x_mm = [18.0]", "37.1 mm long, reaches over an end of EX-01 at 18 mm"),
    ("set_on_wall_mm = 60.0", "set_on_wall_mm = 60000.0", "set_on_wall_mm: found 60000.0"),
    ("noise_to_mhz = 12.0", "noise_to_mhz = 30.0", "above half of sampling_mhz"),
    ("bandwidth_fraction = 0.7", "bandwidth_fraction = 0.01", "bandwidth_fraction 0.01 is outside"),
    ("sampling_mhz = 40.0", "sampling_mhz = 40e6", "sampling_mhz: found 40000000.0"),
    ("y_mm = 15.0", "y_mm = 5.0", "11 mm wide, reaches over an edge of EX-01"),
    ('units = ["U1"]', 'units = "all"', "a notch ends within the beam"),
    ("y_mm = 15.0", "y_mm = 95.0", "95 mm is beside the block"),
    ('block = "EX-01"', 'block = "EX-02"', "'EX-02' is none of the blocks (EX-01)"),
    ("blocks/example_block.toml", "blocks/other.toml", "other.toml: no such file"),
    ("element_scatter_db = 0.5", "element_scatter_db = 40.0", "element_scatter_db: found 40.0"),
]


def written(folder, text):
    (folder / "blocks").mkdir(exist_ok=True)
    (folder / "blocks" / "example_block.toml").write_text(BLOCK, encoding="utf-8")
    (folder / "simulation.toml").write_text(text, encoding="utf-8")
    return folder / "simulation.toml"


@pytest.mark.parametrize(("old", "new", "message"), CASES)
def test_faults_are_told_with_their_key(tmp_path, old, new, message):
    """File and key, what was found, what is wanted; nothing is computed."""
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        load_simulation(written(tmp_path, GOOD.replace(old, new, 1)))
    assert message in str(caught.value)
    assert ".toml" in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("longitudinal_m_per_s = 5920.0", "longitudinal_m_per_s = 5.92", "is no longitudinal vel"),
        ("shear_m_per_s = 3255.0", "shear_m_per_s = 5000.0", "longitudinal over shear velocity"),
        ("attenuation_db_per_mm = 0.01", "attenuation_db_per_mm = 10.0", "leaves no echo"),
    ],
)
def test_a_material_in_another_unit_is_told_with_its_block(tmp_path, old, new, message):
    """Metres a second and decibels a millimetre; the block file and its key are named."""
    path = written(tmp_path, GOOD)
    assert old in BLOCK
    block = tmp_path / "blocks" / "example_block.toml"
    block.write_text(BLOCK.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_simulation(path)
    assert message in str(caught.value)
    assert "example_block.toml: material." in str(caught.value)


def test_several_faults_are_told_at_once(tmp_path):
    """Three wrong values, three faults."""
    text = GOOD.replace("seed = 1", "seed = -1").replace("samples = 1024", "samples = 1")
    with pytest.raises(InputError) as caught:
        load_simulation(written(tmp_path, text.replace("elements = 60", "elements = 0")))
    assert len(caught.value.faults) == 3


def test_totals_tell_nothing_of_the_truth(tmp_path):
    """Counts of blocks and recordings, how large the files will be, how long it takes; the same
    for a unit with a target and for one without. 60·61/2 signals of 1,024 samples in 4 bytes."""
    one = simulation_totals(load_simulation(written(tmp_path, GOOD)))
    other = simulation_totals(
        load_simulation(written(tmp_path, GOOD.replace('units = ["U1"]', 'units = ["U2"]')))
    )
    assert one == other
    assert set(one) == {
        "study", "signal", "blocks", "recordings", "megabytes", "memory_megabytes_about",
        "core_seconds_about",
    }  # fmt: skip
    assert one["recordings"] == 2
    assert one["megabytes"] == pytest.approx(2 * 1830 * 1024 * 4e-6, abs=0.05)


def test_check_knows_a_simulation_file_that_is_broken(tmp_path):
    """Without its positions it is still no block file."""
    broken = GOOD.split("[[positions]]")[0]
    result = CliRunner().invoke(app, ["check", str(written(tmp_path, broken))])
    assert result.exit_code == 2
    assert "simulation.toml: positions: is missing" in result.output
    whole = CliRunner().invoke(app, ["check", str(written(tmp_path, GOOD))])
    assert "simulation.toml: simulation, no fault found" in whole.output
    assert "recordings: 2" in whole.output


def test_names_tell_the_line_where_a_block_has_several(tmp_path):
    """Two scan lines at one place: two names; nothing in a name tells what is in the piece."""
    more = GOOD + '\n[[positions]]\nblock = "EX-01"\nunits = ["U1"]\ny_mm = 44.5\nrepeats = 2\n'
    jobs = load_simulation(written(tmp_path, more)).jobs
    assert [job.name for job in jobs] == [
        "EX-01-U1-y15", "EX-01-U1-y15-twin", "EX-01-U1-y44.5", "EX-01-U1-y44.5-r2",
    ]  # fmt: skip


def test_the_example_is_a_study_that_runs():
    """It is valid by itself; in a folder with its block, the test above loads it."""
    plan = validated(SimulationPlan, tomllib.loads(GOOD), "example")
    assert plan.positions[0].block == tomllib.loads(BLOCK)["id"]
