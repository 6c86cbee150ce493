"""The embedded study is as generated, and as its scenario says."""

import csv
import hashlib
import math
import re
import tomllib
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest
from scipy.stats import spearmanr

from qualify.blocks.checks import check_block
from qualify.blocks.definition import Block
from qualify.demo import assumptions, design, generate, reader_model
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
    assert (plan.signal, plan.read_by, declaration.invented) == ("none", "model", True)
    assert {f"blocks/{path.name}" for path in BLOCK_FILES} == set(data.blocks)
    assert {source.file for source in data.call_sheets} == set(_sheets())
    assert [s.file for s in data.call_sheets if s.re_reading] == [
        "call_sheets/R3_coherence_re-reading.csv"
    ]


def test_order_of_events_is_the_one_the_trade_asks_for(declaration):
    kinds = ["plan_frozen", "threshold_frozen", "truth_sealed", "trial_started"]
    kinds += ["trial_ended", "calls_committed", "truth_opened", "analysis_run"]
    days = [{e.on for e in declaration.events if e.kind == kind} for kind in kinds]
    assert all(len(day) == 1 for day in days)
    assert [max(day) for day in days] == sorted(max(day) for day in days)
    assert len({max(day) for day in days}) == len(kinds)
    read = {row["read_on"] for name in _sheets() for row in _rows(name)}
    assert min(read) == declaration.trial_from.isoformat()
    assert max(read) == declaration.trial_until.isoformat()


def test_declared_digests_are_those_of_the_files(declaration):
    plan, truth, reserve = [e.digest for e in declaration.events if e.digest]
    assert plan == hashlib.sha256((STUDY / "plan.toml").read_bytes()).hexdigest()
    files = [path.read_bytes() for path in BLOCK_FILES if "_blind_" in path.name]
    sealed = bytes.fromhex(generate.TRUTH_SALT) + (STUDY / "key.csv").read_bytes()
    assert truth == hashlib.sha256(sealed + b"".join(files)).hexdigest()
    assert reserve == generate.RESERVE_COMMITMENT
    assert re.fullmatch("[0-9a-f]{64}", reserve)


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


def test_holes_have_no_reported_size_and_some_found_slots_none(key):
    sized, unsized_slots = 0, 0
    for name in _sheets():
        for row in _rows(name):
            item = key[row["code"]]
            unit = item.units[int(row["unit"]) - 1]
            kinds = [t.kind for t in item.block.targets if item.block.unit_of(t.x_mm) == unit]
            if row["size_mm"]:
                sized += 1
                assert kinds == ["embedded_slot"]
            elif row["verdict"] == "indication" and kinds == ["embedded_slot"]:
                unsized_slots += 1
    assert sized > 100
    assert 5 <= unsized_slots < sized / 4


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
    others = [n for n in _sheets() if not n.startswith("call_sheets/R3_coherence")]
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


def test_event_3_one_indication_reaches_over_two_blank_units(key):
    (row,) = [r for r in _rows("call_sheets/R2_linear.csv") if r["comment"].startswith("a band")]
    item = key[row["code"]]
    x, half = item.x_mm(float(row["x_mm"])), float(row["length_x_mm"]) / 2
    assert item.block.unit_of(x) is None
    touched = {item.block.unit_of(x - half).id, item.block.unit_of(x + half).id}
    assert len(touched) == 2
    assert touched <= {unit.id for unit in item.block.blank_units()}


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


def test_reader_model_finds_half_at_the_assumed_size_and_calls_falsely_at_its_rate(blocks):
    """Recovery: rates counted over many pieces agree with the table of assumptions (4 SE)."""
    source = blocks["lug_coupon_blind_03"]
    hole = next(t for t in source.targets if t.kind == "side_drilled_hole")
    unit = source.unit_of(hole.x_mm)
    reader, mode = assumptions.READERS["R2"], assumptions.MODES["linear"]
    a50 = mode.hole_a50_mm * math.exp(reader.caution)
    bore = hole.diameter_mm.model_copy(update={"measured": a50})
    middle = hole.model_copy(update={"diameter_mm": bore, "z_mm": 30.0})
    look, n, found, false = reader_model.Look("R2", "linear"), 1500, 0, 0
    for number in range(n):
        piece = source.model_copy(update={"id": f"piece_{number}", "targets": (middle,)})
        seen = reader_model.indications(piece, unit, look) or []
        found += any(abs(i.x_mm - hole.x_mm) < 4 and abs(i.z_mm - 30.0) < 3 for i in seen)
        blank = source.model_copy(update={"id": f"blank_{number}", "targets": ()})
        false += bool(reader_model.indications(blank, unit, look))
    assert found / n == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(n) + 0.02)
    rate = reader.false_calls_per_unit["linear"]
    assert false / n == pytest.approx(rate, abs=4 * math.sqrt(rate * (1 - rate) / n))


def test_toml_of_the_study_says_invented_in_words():
    for name in ("plan.toml", "study.toml", "data.toml"):
        assert "invented" in (STUDY / name).read_text(encoding="utf-8").split("\n\n")[0]
    assert tomllib.loads((STUDY / "study.toml").read_text(encoding="utf-8"))["invented"] is True
