"""Order of events of a study by its log: each deviation comes, and goes when it is remedied."""

import json
import shutil
from datetime import UTC, datetime, timedelta

import pytest
from openpyxl import load_workbook

from qualify.errors import InputError
from qualify.evidence.events import append_entry
from qualify.files import digest
from qualify.study.finding import find_deviations, order_of_events
from qualify.study.frozen_parts import plan_parts
from qualify.study.load import load_study
from qualify.study.order import freeze, seal, unseal
from qualify.study.order_files import program
from qualify.study.plan import Plan
from qualify.study.run import scheme_of, score
from qualify.study.template import template_files, template_workbook
from tests.study.small import make_plan

SALT = bytes(range(32))
FROZEN = datetime(2026, 3, 2, 9, tzinfo=UTC)
SEALED, OPENED, LATER = (FROZEN + timedelta(days=k) for k in (2, 21, 22))
TWO = ("C-1", "C-2")


def write_template(folder, *, book=False):
    """The study that `qualify new` writes, without its declared events."""
    folder.mkdir(exist_ok=True)
    if book:
        (folder / "study.xlsx").write_bytes(template_workbook())
        return folder
    for name, content in template_files().items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    text = (folder / "study.toml").read_text("utf-8")
    parts = text.split("[[")
    kept = [part for part in parts if not part.startswith("events]]")]
    (folder / "study.toml").write_text("[[".join(kept), "utf-8")
    return folder


def open_all(folder, name="EXAMPLE-01"):
    freeze(folder, by="C-2", at=FROZEN)
    seal(folder, by="C-1", at=SEALED, salt=SALT)
    return unseal(folder, study=name, by=TWO, at=OPENED)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = write_template(tmp_path_factory.mktemp("order") / "study")
    open_all(folder)
    return folder


@pytest.fixture
def study(whole, tmp_path):
    return shutil.copytree(whole, tmp_path / "study")


def found(folder):
    """What the analysis finds about the order: kind and subject."""
    inputs = load_study(folder)
    tables = score(inputs.blocks, inputs.key, inputs.sets, inputs.calls, scheme_of(inputs.plan))
    deviations = find_deviations(tables, inputs)
    return [(d.kind, d.subject) for d in deviations if d.kind != "software_revision"]


def replace(path, old, new):
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def test_frozen_sealed_opened_and_unchanged_shows_no_deviation(whole):
    assert found(whole) == []
    inputs = load_study(whole)
    events = order_of_events(inputs.declaration, inputs.log)
    recorded = [(e.kind, e.on, e.by) for e in events if e.status == "recorded"]
    assert recorded == [
        ("plan_frozen", "2026-03-02T09:00:00Z", "C-2"),
        ("threshold_frozen", "2026-03-02T09:00:00Z", "C-2"),
        ("truth_sealed", "2026-03-04T09:00:00Z", "C-1"),
        ("calls_committed", "2026-03-23T09:00:00Z", "C-1 and C-2"),
        ("truth_opened", "2026-03-23T09:00:00Z", "C-1 and C-2"),
    ]
    rest = {e.kind for e in events if e.status == "not recorded"}
    assert rest == {"trial_started", "trial_ended", "analysis_run"}


def test_same_times_and_salt_give_the_same_bytes(whole, tmp_path):
    other = write_template(tmp_path / "elsewhere")
    open_all(other)
    for name in ("events.jsonl", "truth.salt"):
        assert (other / name).read_bytes() == (whole / name).read_bytes()
    assert (other / "truth.salt").read_text("ascii") == SALT.hex() + "\n"


def test_the_salt_is_not_in_the_log_before_truth_is_opened(tmp_path):
    folder = write_template(tmp_path / "study")
    seal(folder, by="C-1", at=SEALED, salt=SALT)
    log = (folder / "events.jsonl").read_bytes()
    assert SALT.hex().encode() not in log
    for path in folder.rglob("*.*"):  # nor a digest on which guesses could be tried without it
        assert digest(path.read_bytes()).encode() not in log
    assert found(folder) == [("seal_not_opened", "truth")]


CHANGES = [
    ("plan.toml", "x_mm = ", "x_mm = 1", "matching"),
    ("plan.toml", "seed = ", "seed = 9", "analysis"),
    ("plan.toml", 'reading_rule = "', 'reading_rule = "not ', "thresholds"),
    ("plan.toml", "sized = true", "sized = false", "populations"),
    ("plan.toml", "limit = ", "limit = 1", "criteria"),
    ("plan.toml", 'question = "', 'question = "other ', "rest"),
]


@pytest.mark.parametrize(("file", "old", "new", "part"), CHANGES)
def test_a_part_changed_after_freezing_is_named_alone(study, file, old, new, part):
    replace(study / file, old, new)
    assert found(study) == [("changed_after_freezing", part)]
    replace(study / file, new, old)
    assert found(study) == []


def test_a_comment_is_no_change(study):
    with (study / "plan.toml").open("a", encoding="utf-8") as stream:
        stream.write("\n# a remark\n")
    assert found(study) == []


def test_a_plan_read_by_newer_software_is_the_same_plan():
    """A key that a later version adds, left at its default, accuses nobody; nor one spelled out."""

    class Newer(Plan):
        more: int = 3

    base = make_plan()
    newer = Newer.model_validate(base.model_dump(exclude_unset=True))
    assert plan_parts(newer) == plan_parts(base)
    spelled = make_plan(not_examined={"flawed": "miss", "blank": "excluded"})
    assert plan_parts(spelled) == plan_parts(base)


def test_parts_have_digests_of_their_own():
    """Each part moves its own digest and that of the whole; very large seeds have one too."""
    base = plan_parts(make_plan())
    moved = {
        "analysis": {"analysis": {"reason": "sizes spaced in log", "seed": 2**60}},
        "comparison": {"comparison": {"margin": 1.1}},
        "rest": {"revision": "2"},
    }
    for part, change in moved.items():
        other = plan_parts(make_plan(**change))
        assert {name for name in base if base[name] != other[name]} == {part, "plan"}


def test_a_file_of_the_reading_stage_is_frozen_where_it_exists(study):
    (study / "reading.toml").write_text("rule = 1\n", "utf-8")
    assert found(study) == [("changed_after_freezing", "reading.toml")]
    (study / "reading.toml").unlink()
    assert found(study) == []
    fresh = write_template(study.parent / "fresh")
    (fresh / "thresholds.json").write_text("{}", "utf-8")
    freeze(fresh, by="C-2", at=FROZEN)
    assert found(fresh) == []
    (fresh / "thresholds.json").write_text("{} ", "utf-8")
    assert found(fresh) == [("changed_after_freezing", "thresholds.json")]


def test_other_software_than_frozen_is_told(study, monkeypatch):
    from qualify.study import order_files

    now = order_files.program()
    other = now.model_copy(update={"sha256": "0" * 64})
    monkeypatch.setattr(order_files, "program", lambda: other)
    assert found(study) == [("changed_after_freezing", "software")]


def test_the_last_freeze_before_opening_counts(tmp_path):
    folder = write_template(tmp_path / "study")
    freeze(folder, by="C-2", at=FROZEN)
    replace(folder / "plan.toml", "x_mm = ", "x_mm = 1")
    assert found(folder) == [("changed_after_freezing", "matching")]
    again = freeze(folder, by="C-2", at=SEALED)
    assert again.counts
    assert "changed since: matching" in again.remarks[0]
    assert found(folder) == []


def test_a_freeze_after_opening_counts_for_nothing(tmp_path):
    folder = write_template(tmp_path / "study")
    seal(folder, by="C-1", at=SEALED, salt=SALT)
    opened = unseal(folder, study="EXAMPLE-01", by=TWO, at=OPENED)
    assert not opened.counts
    assert "NOTHING WAS FROZEN" in opened.remarks[0]
    assert found(folder) == [("not_frozen_before_opening", "plan")]
    late = freeze(folder, by="C-2", at=LATER)
    assert not late.counts
    assert "DOES NOT COUNT" in late.remarks[0]
    assert found(folder) == [("not_frozen_before_opening", "plan")]
    inputs = load_study(folder)
    kinds = [e.kind for e in order_of_events(inputs.declaration, inputs.log) if e.late]
    assert kinds == ["freeze_too_late"]


@pytest.mark.parametrize(("file", "old", "new"), [
    ("study.toml", "\n[[roles]]", '\n[[events]]\nkind = "truth_opened"\non = 2026-03-01\n'
     'by = "C-1"\n\n[[roles]]'),
    ("plan.toml", "frozen_on = 2026-02-20", "frozen_on = 2026-03-24"),
])  # fmt: skip
def test_log_and_declaration_are_held_against_each_other(tmp_path, file, old, new):
    """Truth declared open before the log froze; a plan declared frozen after the log opened."""
    folder = write_template(tmp_path / "study")
    replace(folder / "plan.toml", "frozen_on = 2026-03-02", "frozen_on = 2026-02-20")
    replace(folder / file, old, new)
    open_all(folder)
    assert found(folder) == [("frozen_after_opening", "plan_frozen")]
    replace(folder / file, new, old)
    assert ("frozen_after_opening", "plan_frozen") not in found(folder)


def test_the_digest_of_the_software_is_over_all_of_its_files(tmp_path, monkeypatch):
    """Line ends of the machine change nothing, a byte deep in a room does."""
    (tmp_path / "room").mkdir()
    for name in ("__init__.py", "room/one.py"):
        (tmp_path / name).write_bytes(b"a = 1\nb = 2\n")
    monkeypatch.setattr("qualify.__file__", str(tmp_path / "__init__.py"))
    before = program.__wrapped__().sha256
    (tmp_path / "room/one.py").write_bytes(b"a = 1\r\nb = 2\r\n")
    assert program.__wrapped__().sha256 == before
    (tmp_path / "room/one.py").write_bytes(b"a = 1\nb = 3\n")
    assert program.__wrapped__().sha256 != before


def test_truth_other_than_sealed_is_named_and_mended(study):
    before = (study / "sets.csv").read_bytes()
    (study / "sets.csv").write_bytes(before + b"\n")
    assert found(study) == [("seal_broken", "sets.csv (changed)")]
    (study / "sets.csv").write_bytes(before)
    replace(study / "blocks/example_block.toml", 'title = "', 'title = "other ')
    assert found(study) == [("seal_broken", "blocks/example_block.toml (changed)")]


def test_a_call_sheet_changed_after_opening_is_named_and_mended(study):
    sheet = study / "call_sheets/r1_new.csv"
    before = sheet.read_bytes()
    sheet.write_bytes(before + b"\n")
    assert found(study) == [("changed_after_opening", "call_sheets/r1_new.csv")]
    sheet.write_bytes(before)
    assert found(study) == []


def test_a_broken_log_is_told_by_its_line_and_shows_nothing_as_recorded(study):
    path = study / "events.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(lines[0].replace(b"C-2", b"C-3") + b"".join(lines[1:]))
    assert found(study) == [("log_broken", "line 1")]
    inputs = load_study(study)
    events = order_of_events(inputs.declaration, inputs.log)
    assert not [e for e in events if e.status == "recorded"]
    with pytest.raises(InputError, match="line 1"):
        freeze(study, by="C-2", at=LATER)
    path.write_bytes(b"".join(lines))
    assert found(study) == []


def test_a_log_of_another_study_or_not_of_our_shape_is_broken(study):
    path = study / "events.jsonl"
    line = path.read_bytes()
    more = append_entry(line, kind="freeze", at=LATER, by=["C-1"], what={"study": "EXAMPLE-01"})
    path.write_bytes(more)
    assert found(study) == [("log_broken", "line 4")]
    path.write_bytes(line)
    for name in ("plan.toml", "study.toml", "data.toml"):
        replace(study / name, 'study = "EXAMPLE-01"', 'study = "OTHER"')
    assert found(study) == [("log_broken", f"line {k}") for k in (1, 2, 3)]


def test_truth_sealed_after_the_trial_began_is_told(tmp_path):
    folder = write_template(tmp_path / "study")
    freeze(folder, by="C-2", at=FROZEN)
    step = seal(folder, by="C-1", at=FROZEN + timedelta(days=20), salt=SALT)
    assert "LATE" in step.remarks[0]
    unseal(folder, study="EXAMPLE-01", by=TWO, at=OPENED)
    assert found(folder) == [("sealed_after_start", "truth")]


def refused(call, *words):
    with pytest.raises(InputError) as error:
        call()
    for word in words:
        assert word in str(error.value)


def test_what_unsealing_refuses(tmp_path):
    """Wrong study, one person twice, a reader, no custodian, nobody declared, not sealed."""
    folder = write_template(tmp_path / "study")
    log = folder / "events.jsonl"

    def opening(by=TWO, name="EXAMPLE-01"):
        return lambda: unseal(folder, study=name, by=by, at=OPENED)

    refused(opening(), "never sealed")
    seal(folder, by="C-1", at=SEALED, salt=SALT)
    before = log.read_bytes()
    refused(opening(name="EXAMPLE-02"), "EXAMPLE-02")
    refused(opening(by=("C-1", "C-1")), "twice")
    refused(opening(by=("C-1",)), "1 given")
    refused(opening(by=("C-1", "R1")), "R1", "reader")
    refused(opening(by=("C-1", "B-1")), "B-1", "developer")
    refused(opening(by=("C-2", "C-3")), "custodian")
    refused(opening(by=("C-1", "X-9")), "X-9", "no declared role")
    salt = folder / "truth.salt"
    salt.rename(folder / "away")
    refused(opening(), "truth.salt", "custodian")
    salt.write_text(bytes(32).hex(), "ascii")
    refused(opening(), "another seal")
    salt.unlink()
    (folder / "away").rename(salt)
    replace(folder / "key.csv", ",no,", ",yes,")
    refused(opening(), "key.csv (changed)", "not what was sealed")
    replace(folder / "key.csv", ",yes,", ",no,")
    sheet = folder / "call_sheets/r2_new.csv"
    sheet.rename(folder / "kept")
    refused(opening(), "call_sheets/r2_new.csv")
    (folder / "kept").rename(sheet)
    assert log.read_bytes() == before
    opening()()
    refused(opening(), "already")


def test_what_sealing_refuses(tmp_path):
    folder = write_template(tmp_path / "study")
    for person in ("R1", "B-1", "C-2", "X-9"):
        refused(lambda p=person: seal(folder, by=p, at=SEALED, salt=SALT), person if person != "C-2"
                else "custodian")  # fmt: skip
    (folder / "truth.salt").write_text("kept", "ascii")
    refused(lambda: seal(folder, by="C-1", at=SEALED, salt=SALT), "is there already")
    assert (folder / "truth.salt").read_text("ascii") == "kept"
    assert not (folder / "events.jsonl").exists()
    (folder / "truth.salt").unlink()
    freeze(folder, by="C-2", at=OPENED)
    refused(lambda: seal(folder, by="C-1", at=SEALED, salt=SALT), "clock")
    assert not (folder / "truth.salt").exists()
    seal(folder, by="C-1", at=OPENED, salt=SALT)
    refused(lambda: seal(folder, by="C-1", at=OPENED, salt=SALT), "already", "entry 2")


def test_before_the_trial_neither_calls_nor_their_names_are_needed(tmp_path):
    folder = write_template(tmp_path / "study")
    shutil.rmtree(folder / "call_sheets")
    text = (folder / "data.toml").read_text("utf-8")
    (folder / "data.toml").write_text(text.split("[[call_sheets]]")[0], "utf-8")
    freeze(folder, by="C-2", at=FROZEN)
    seal(folder, by="C-1", at=SEALED, salt=SALT)
    refused(lambda: unseal(folder, study="EXAMPLE-01", by=TWO, at=OPENED), "names no call")


def test_a_workbook_is_frozen_by_its_values(tmp_path, whole):
    """The parts of the plan have the same digests as in TOML; truth and calls by value."""
    folder = write_template(tmp_path / "book", book=True)
    frozen = freeze(folder / "study.xlsx", by="C-2", at=FROZEN)
    first = json.loads((whole / "events.jsonl").read_bytes().splitlines()[0])
    assert frozen.what["parts"] == first["what"]["parts"]
    sealed = seal(folder, by="C-1", at=SEALED, salt=SALT)
    names = ["study.xlsx: block EX-01", "study.xlsx: key", "study.xlsx: sets"]
    assert list(sealed.what["files"]) == names
    unseal(folder, study="EXAMPLE-01", by=TWO, at=OPENED)
    assert found(folder) == []
    book = load_workbook(folder / "study.xlsx")
    (row,) = [r for r in book["plan"].iter_rows() if r[0].value == "matching.x_mm"]
    row[1].value += 1.0
    (call,) = [r for r in book["calls"].iter_rows(max_row=2) if r[0].value == "R1"]
    call[-2].value = "a remark"
    book.save(folder / "study.xlsx")
    assert found(folder) == [
        ("changed_after_freezing", "matching"),
        ("changed_after_opening", "study.xlsx: calls"),
    ]


def test_without_a_log_events_and_deviations_are_as_before(tmp_path):
    inputs = load_study(write_template(tmp_path / "study"))
    assert inputs.log is None
    assert {e.status for e in order_of_events(inputs.declaration, inputs.log)} == {"not recorded"}
