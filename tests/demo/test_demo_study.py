"""The embedded study is as generated, and as its scenario says."""

import csv
import json
import math
import re
import tomllib
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.stats import spearmanr

from qualify.blocks.checks import check_block
from qualify.blocks.definition import Block
from qualify.demo import design, generate, run
from qualify.demo.study_files import setup_files
from qualify.files import read_toml, validated, write_whole
from qualify.raw_tables import read_table
from qualify.reading.call_sheet import Call, CallRow, check_looks
from qualify.reading.key import KeyRow, Presented
from qualify.study.data import DataSources
from qualify.study.declaration import Declaration
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.plan import Plan
from qualify.study.simulation import load_simulation
from qualify.study.thresholds import read_thresholds

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "qualify" / "demo" / "study"
BLOCK_FILES = sorted((ROOT / "reference_blocks").glob("*.toml"))


def _block(path: Path) -> Block:
    block = validated(Block, read_toml(path), path.name)
    check_block(block, path.name)
    return block


@pytest.fixture(scope="module")
def blocks() -> dict[str, Block]:
    return {path.stem: _block(path) for path in BLOCK_FILES}


@pytest.fixture(scope="module")
def blind(blocks) -> list[Block]:
    return [block for name, block in blocks.items() if "_blind_" in name]


@pytest.fixture(scope="module")
def key(blocks) -> dict[str, Presented]:
    rows = [KeyRow.model_validate(row) for row in _rows("key.csv")]
    return {
        row.code: Presented(row.code, blocks[row.block], row.flipped, row.datum_offset_mm)
        for row in rows
    }


@pytest.fixture(scope="module")
def declaration() -> Declaration:
    return validated(Declaration, read_toml(STUDY / "study.toml"), "study.toml")


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((STUDY / name).open(encoding="utf-8")))


def _targets(of: list[Block], kind: str) -> list:
    return [target for block in of for target in block.targets if target.kind == kind]


def _sheets() -> list[str]:
    return sorted(f"call_sheets/{path.name}" for path in (STUDY / "call_sheets").glob("*.csv"))


def test_committed_files_are_what_the_generator_writes():
    assert generate.differences(ROOT) == []


def test_the_check_notices_a_changed_or_missing_file(tmp_path):
    for name, content in generate.contents().items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    (tmp_path / generate.STUDY / "key.csv").unlink()
    changed = tmp_path / "reference_blocks" / "near_surface.toml"
    changed.write_bytes(changed.read_bytes() + b"\n")
    wrong = generate.differences(tmp_path)
    assert wrong == ["reference_blocks/near_surface.toml", f"{generate.STUDY}/key.csv"]


def test_set_up_studies_ask_for_every_target_with_its_twin(tmp_path):
    """Written to a folder they are valid; the array stands over each target of the block, once
    with and once without it; nothing of the model is refused."""
    for name, content in setup_files().items():
        write_whole(tmp_path / name, content)
    for name in ("near_surface", "near_surface_from_b", "depth_ladder"):
        study = load_simulation(tmp_path / name)
        (block,) = study.blocks.values()
        assert block.scan_surface == ("B" if name.endswith("_b") else "A")
        assert {(j.place.x_mm, j.twin) for j in study.jobs} == {
            (target.x_mm, twin) for target in block.targets for twin in (False, True)
        }
        validated(ImagingPlan, read_toml(tmp_path / name / "imaging.toml"), name)
        for job in study.jobs[::2]:
            (hole,) = [h for h in study.section(job).scene.holes if abs(h.x_mm) < 2.0]
            (target,) = [t for t in block.targets if t.x_mm == job.place.x_mm]
            depth = target.z_mm if block.scan_surface == "A" else 50.0 - target.z_mm
            assert hole.z_mm == pytest.approx(depth)


@pytest.mark.parametrize("path", BLOCK_FILES, ids=lambda path: path.stem)
def test_block_file_is_valid_and_named_after_its_block(path):
    block = _block(path)
    assert block.id == path.stem
    length, width, thickness = (
        block.outline.length_mm,
        block.outline.width_mm,
        block.outline.thickness_mm,
    )
    mass_kg = length * width * thickness * 1e-9 * block.material.density_kg_per_m3
    assert block.mass_kg == pytest.approx(mass_kg, abs=0.05)
    assert "invented" in path.read_text(encoding="utf-8").split("\n\n")[0], "head comment"
    assert "invented" in block.provenance


def test_blind_set_has_the_counts_of_the_scenario(blind):
    assert len(blind) == 18
    assert sum(len(block.grading_units) for block in blind) == 252
    assert len(_targets(blind, "side_drilled_hole")) == 60
    assert len(_targets(blind, "embedded_slot")) == 40
    assert sum(len(block.blank_units()) for block in blind) == 152
    counts = [len(block.targets) for block in blind]
    assert (min(counts), max(counts)) == (0, 10)


def test_open_set_has_the_counts_of_the_scenario(blocks):
    of = [block for name, block in blocks.items() if "_open_" in name]
    assert sum(len(block.grading_units) for block in of) == 112
    assert sum(len(block.targets) for block in of) == 30
    assert sum(len(block.blank_units()) for block in of) == 82


@pytest.mark.parametrize("kind", ["side_drilled_hole", "embedded_slot"])
def test_depth_is_balanced_against_size(blind, kind):
    targets = _targets(blind, kind)
    sizes, depths = [t.size.value for t in targets], [t.z_mm for t in targets]
    assert abs(spearmanr(sizes, depths).statistic) < 0.15
    assert min(depths) > 5.8
    assert max(depths) < 54.2
    numbers = [int(t.id[1:]) for t in targets]
    assert abs(spearmanr(numbers, sizes).statistic) < 0.3, "an id must not tell a size"


def test_sizes_and_tilts_cover_the_ranges_evenly(blind):
    holes = sorted(t.size.nominal for t in _targets(blind, "side_drilled_hole"))
    slots = _targets(blind, "embedded_slot")
    extents = sorted(t.size.nominal for t in slots)
    assert (holes[0], holes[-1], extents[0], extents[-1]) == (0.2, 2.0, 0.5, 8.0)
    steps = [math.log(b / a) for a, b in pairwise(extents)]
    assert max(steps) == pytest.approx(math.log(16) / 39, abs=0.015)
    tilts = Counter(t.tilt_deg.nominal for t in slots)
    assert set(tilts) == {0.0, 15.0, 30.0}
    assert max(tilts.values()) - min(tilts.values()) <= 1


def test_targets_stand_alone_near_the_middle_of_their_unit_in_the_common_region(blind):
    for block in blind:
        units = [block.unit_of(t.x_mm) for t in block.targets]
        assert len({u.id for u in units}) == len(units)
        for target, unit in zip(block.targets, units, strict=True):
            off = target.x_mm - (unit.x_from_mm + unit.x_to_mm) / 2
            assert abs(off) <= 8.2
            assert abs(off) + target.half_extent_mm[0] <= 13
            assert target.z_mm - target.half_extent_mm[1] >= 4
            assert target.z_mm + target.half_extent_mm[1] <= 56


def test_blind_values_are_measured_and_use_all_three_statements(blind):
    quantities = [q for b in blind for t in b.targets for q in t.quantities().values()]
    assert {q.basis for q in quantities} == {"measured"}
    how = Counter("u" if q.u else "U" if q.U else "tolerance" for q in quantities)
    assert min(how[name] for name in ("u", "U", "tolerance")) >= 5
    off = [abs(q.measured - q.nominal) / q.standard_uncertainty for q in quantities]
    assert max(off) < 6
    assert sum(off) / len(off) > 0.3


def test_codes_tell_nothing(key):
    assert len(key) == 18
    for code in key:
        assert re.fullmatch(r"[B-DF-HJ-NP-TV-XZ]{4}", code), "consonants only"
    assert {item.flipped for item in key.values()} == {True, False}
    numbers = [int(item.block.id[-2:]) for item in key.values()]
    assert numbers != sorted(numbers)


def test_plan_declaration_and_sources_are_valid(declaration):
    plan = validated(Plan, read_toml(STUDY / "plan.toml"), "plan.toml")
    data = validated(DataSources, read_toml(STUDY / "data.toml"), "data.toml")
    assert plan.study == data.study == declaration.study == generate.STUDY_ID
    assert [c.id for c in plan.criteria] == ["C1", "C2", "C3", "C3", *["C4"] * 3, "C5", "C6", "C7"]
    assert (plan.signal, plan.read_by, declaration.invented) == ("simulated", "model", True)
    assert plan.rule_readers == ("rule",)
    assert {f"blocks/{path.name}" for path in BLOCK_FILES} == set(data.blocks)
    shown_only = {"call_sheets/rule_sectorial.csv"}
    assert {source.file for source in data.call_sheets} == set(_sheets()) - shown_only
    assert [s.file for s in data.call_sheets if s.re_reading] == [
        "call_sheets/R3_coherence_re-reading.csv"
    ]


def test_declared_events_run_forward_within_the_days_of_the_trial(declaration):
    kinds = ["truth_sealed", "trial_started", "trial_ended", "calls_committed", "analysis_run"]
    days = [next(e.on for e in declaration.events if e.kind == kind) for kind in kinds]
    assert days == sorted(days)
    assert len(set(days)) == len(kinds)
    read = {row["read_on"] for name in _sheets() for row in _rows(name) if row.get("read_on")}
    assert min(read) == declaration.trial_from.isoformat()
    assert max(read) == declaration.trial_until.isoformat()
    moments = [run.FROZEN, run.SEALED, run.OPENED]
    assert run.FROZEN.date() < run.SEALED.date() < declaration.trial_from
    assert days[3] < run.OPENED.date() < days[4]
    assert moments == sorted(moments)


def test_the_reserve_is_committed_to():
    assert generate.RESERVE_COMMITMENT in (STUDY / "study.toml").read_text("utf-8")
    assert re.fullmatch("[0-9a-f]{64}", generate.RESERVE_COMMITMENT)


def test_pilot_chose_the_level_that_its_rule_names():
    """The rule over the record, again: nearest a50 of the linear scan, in logarithms."""
    told = json.loads((STUDY / "pilot.json").read_text("utf-8"))
    a50 = {row["backscatter_db"]: row["linear"]["a50_mm"] for row in told["levels"]}
    middle = math.sqrt(design.HOLES_MM[0] * design.HOLES_MM[1])
    best = min((level for level in a50 if a50[level]), key=lambda k: abs(math.log(a50[k] / middle)))
    assert told["chosen_backscatter_db"] == best
    grain = read_toml(STUDY / "simulation.toml")["conditions"]["grain"]
    assert grain["backscatter_db"] == best
    assert design.HOLES_MM[0] < a50[best] < design.HOLES_MM[1]


def test_thresholds_of_the_plan_are_those_of_the_open_blanks():
    plan = validated(Plan, read_toml(STUDY / "plan.toml"), "plan.toml")
    told = read_thresholds(STUDY / "thresholds.json")
    assert told.declared_rate == 0.02
    assert {mode.id: mode.threshold for mode in plan.modes} == {
        one.mode: one.threshold for one in told.modes if one.mode != "sectorial"
    }
    assert {len(one.peaks) for one in told.modes} == {82}


@pytest.mark.parametrize("mode", ["linear", "total_focusing", "coherence"])
def test_the_rule_calls_blank_units_as_often_as_its_threshold_allows(mode, key):
    """Blind blanks called, of simulated grain, against the realised rate told at 95 % (binomial).

    The count lies within the central 99.8 % of the binomial law at an end of that interval.
    """
    told = read_thresholds(STUDY / "thresholds.json").of(mode)
    rows = _rows(f"call_sheets/rule_{mode}.csv")
    blank = {
        (code, item.number_of(unit))
        for code, item in key.items()
        for unit in item.block.blank_units()
    }
    units: dict[tuple[str, int], bool] = {}
    for row in rows:
        place = (row["code"], int(row["unit"]))
        if place in blank and row["verdict"] != "not_examined":
            units[place] = units.get(place, False) or row["verdict"] == "indication"
    called = sum(units.values())
    assert len(units) >= 150
    assert stats.binom.cdf(called, len(units), told.rate_low) < 0.999 or called == 0
    assert stats.binom.ppf(0.001, len(units), told.rate_low) <= called
    assert called <= stats.binom.ppf(0.999, len(units), told.rate_high)


@pytest.mark.parametrize("mode", ["linear", "total_focusing"])
def test_peaks_of_blank_units_have_the_tail_of_rayleigh_noise(mode, key):
    """Largest squares over the background of open blanks: for Rayleigh noise of m independent cells
    they lie near ln m, with a Gumbel scale of 1 (Rayleigh 1880; Fisher and Tippett 1928).

    Grain that changes in level across a row makes the scale larger: it is held below 2.4, where
    spiky grain (one scatterer in a cell) has 3 and more.
    """
    told = read_thresholds(STUDY / "thresholds.json").of(mode)
    squares = 10.0 ** ((np.array(told.peaks) - told.reference) / 10.0)
    place, scale = stats.gumbel_r.fit(squares)
    assert 0.8 < scale < 2.4
    assert math.log(500) < place < math.log(20000)


@pytest.mark.parametrize("name", _sheets())
def test_call_sheet_holds_every_unit_and_no_contradiction(name, key):
    parsed = [(number, row) for number, row in enumerate(read_table(STUDY / name).rows, start=2)]
    calls = [Call(CallRow.model_validate(row.cells), name, None, n, False) for n, row in parsed]
    check_looks(calls, needs_position=True)
    looked_at = Counter((c.row.code, c.row.unit) for c in calls)
    codes = {code for code, _ in looked_at}
    assert set(looked_at) == {(code, unit) for code in codes for unit in range(1, 15)}
    assert len(codes) == (10 if "re-reading" in name else 18)
    spread = 0
    for call in calls:
        if call.row.verdict == "indication":
            item = key[call.row.code]
            unit = item.block.unit_of(item.x_mm(call.row.x_mm))
            inside = unit is not None and item.number_of(unit) == call.row.unit
            spread += not inside
    assert spread == (1 if name == "call_sheets/R2_linear.csv" else 0)


def test_event_1_one_reader_changes_revision_in_mid_trial_and_reads_again():
    rows = _rows("call_sheets/R3_coherence.csv")
    revisions = [row["software"] for row in rows]
    first = revisions.index("2.4.1")
    assert 0 < first < len(rows) - 1
    assert set(revisions[:first]) == {"2.4.0"}
    assert set(revisions[first:]) == {"2.4.1"}
    again = _rows("call_sheets/R3_coherence_re-reading.csv")
    assert {row["software"] for row in again} == {"2.4.0"}
    changed = {(row["code"], row["unit"]) for row in rows[first:]}
    assert {(row["code"], row["unit"]) for row in again} == changed
    others = [
        n for n in _sheets() if not n.startswith(("call_sheets/R3_coherence", "call_sheets/ru"))
    ]
    assert {row["software"] for name in others for row in _rows(name)} == {"2.4.0"}


def test_event_2_three_sealed_ids_stand_in_the_open_set_before_the_trial(declaration, blocks):
    sets: dict[str, set[str]] = {}
    for row in _rows("sets.csv"):
        sets.setdefault(row["target"], set()).add(row["set"])
        assert row["from_date"] < declaration.trial_from.isoformat()
        assert any(target.id == row["target"] for target in blocks[row["block"]].targets)
    double = {target for target, names in sets.items() if len(names) > 1}
    assert double == set(design.REPEATED)
    assert all(sets[target] == {"open", "blind"} for target in double)


def test_event_3_one_indication_reaches_over_two_units_found_empty(key):
    (row,) = [r for r in _rows("call_sheets/R2_linear.csv") if r["comment"].startswith("a band")]
    item = key[row["code"]]
    x, half = item.x_mm(float(row["x_mm"])), float(row["length_x_mm"]) / 2
    assert item.block.unit_of(x) is None
    touched = {item.block.unit_of(x - half).id, item.block.unit_of(x + half).id}
    assert len(touched) == 2


def test_event_5_two_units_without_a_back_wall_are_examined_in_no_mode_by_nobody():
    lost = []
    for name in _sheets():
        if "re-reading" not in name:
            why = "no back-wall echo in the recording"
            lost.append({(r["code"], r["unit"]) for r in _rows(name) if r["comment"] == why})
    assert len(lost[0]) == 2
    assert all(units == lost[0] for units in lost)


def test_remedies_are_signed_by_two_who_do_not_develop_or_read(declaration):
    party = {role.person: role.party for role in declaration.roles}
    roles = {role.person: role.role for role in declaration.roles}
    assert {r.deviation for r in declaration.remedies} == {
        "software_revision",
        "set_overlap",
        "call_over_two_units",
    }
    for remedy in declaration.remedies:
        signers = {remedy.signed_by, remedy.second_signature}
        assert len(signers) == 2
        assert {party[person] for person in signers} == {"C"}
        assert not {roles[person] for person in signers} & {"developer", "reader"}


def test_statement_on_tilted_slots_counts_them(declaration, blind):
    tilted = sum(t.tilt_deg.nominal == 30 for t in _targets(blind, "embedded_slot"))
    (words,) = [case.evidence for case in declaration.worst_cases if case.id == "WCD-03"]
    assert f"{tilted} of the 40" in words


def test_toml_of_the_study_says_invented_in_words():
    for name in ("plan.toml", "study.toml", "data.toml"):
        assert "invented" in (STUDY / name).read_text(encoding="utf-8").split("\n\n")[0]
    assert tomllib.loads((STUDY / "study.toml").read_text(encoding="utf-8"))["invented"] is True
