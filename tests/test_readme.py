"""README.md keeps its promises of form."""

import csv
import json
import re
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.cli.trial import threshold_document
from qualify.dossier.order_views import AGAINST
from qualify.simulation.conditions import Conditions
from qualify.study.presentation import PresentedRow
from qualify.study.reading_plan import Masked, ReaderRow, ReadingPlan, ReadMode
from qualify.study.reading_sizes import SizeRow
from qualify.study.simulation_plan import Positions, SimulationPlan
from qualify.study.template import example_text
from qualify.study.thresholds import ModeThreshold, Thresholds, read_thresholds
from qualify.study.trial_run import image_trial
from tests.study import small_trial

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_quick_start_holds_exactly_two_lines():
    section = README.split("## Quick start", 1)[1]
    block = re.search(r"```\w*\n(.*?)```", section, re.DOTALL)
    lines = block.group(1).strip().splitlines()
    assert len(lines) == 2
    assert all("python3 -m venv" in line and "-c constraints.txt" in line for line in lines)
    assert lines[0].endswith("qualify demo --quick")
    assert lines[1].endswith("-m pytest")


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)#:]+)\)", README))
def test_links_lead_somewhere(link):
    assert (ROOT / link).exists()


def test_constraints_name_no_address():
    text = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    assert "http" not in text
    assert re.search(r"^numpy==2\.[234]\.", text, re.MULTILINE)


def test_the_words_that_never_bend():
    """Nowhere does the product say of a technique that it is qualified."""
    for path in [*ROOT.glob("*.md"), *(ROOT / "qualify").rglob("*.py")]:
        text = " ".join(path.read_text(encoding="utf-8").split()).lower()
        for words in ("mode is qualified", "procedure is qualified", "technique is qualified,"):
            assert words not in text, f"{path.name}: {words}"


SAMPLE = ROOT / "output" / "sample"
CONCLUDED = README.split("### What the tool concluded, and why", 1)[1].split("\n| File |", 1)[0]
HOLES, SLOTS, BLANKS = "side_drilled_hole", "embedded_slot", "blank_units"


class Sample:
    """The dossier in output/sample as data: estimates after remedy, statuses, opportunities."""

    def __init__(self):
        told = json.loads((SAMPLE / "results.json").read_text(encoding="utf-8"))
        self.estimates = {one["id"]: one["value"] for one in told["estimates"]}
        self.readers = told["study"]["readers"]
        self.statuses = {}
        for one in told["verdicts"]:
            clauses = self.statuses.setdefault((one["basis"], one["criterion"]), set())
            clauses.add(one["status"])
        removed = {one["subject"] for one in told["deviations"] if one["kind"] == "set_overlap"}
        with (SAMPLE / "opportunities.csv").open(encoding="utf-8") as file:
            self.shallow = [
                row
                for row in csv.DictReader(file)
                if row["reader"] == "rule" and row["target"] and row["target"] not in removed
                and float(row["depth_mm"]) < 15.0
            ]  # fmt: skip

    def of(self, statistic, kind, mode, reader="rule"):
        return self.estimates[f"after_remedy/{statistic}/{kind}/{mode}/{reader}"]

    def span(self, statistic, kind, *modes):
        found = [self.of(statistic, kind, mode, who) for mode in modes for who in self.readers]
        return [min(found), max(found)]

    def near(self, kind, mode):
        rows = [row for row in self.shallow if (row["kind"], row["mode"]) == (kind, mode)]
        return [sum(row["hit"] == "1" for row in rows), len(rows)]

    def missed_mm(self, kind, mode):
        """Return size and depth of the largest shallow target that was looked at and missed."""
        rows = [row for row in self.shallow if (row["kind"], row["mode"]) == (kind, mode)]
        missed = [row for row in rows if row["hit"] == "0" and row["examined"] == "1"]
        return max((float(row["size_mm"]), float(row["depth_mm"])) for row in missed)

    def numbers(self):
        """Return the numbers of README's six sentences, in their order and as they stand there."""
        beside = "coherence against total_focusing"
        hole, slot = self.missed_mm(HOLES, "coherence"), self.missed_mm(SLOTS, "coherence")
        rows = [
            [self.of("hits", HOLES, "coherence"), self.of("targets", HOLES, "coherence")],
            [self.of("hits", HOLES, "linear"), self.of("blank_units", BLANKS, "coherence")],
            [self.of("units_called", BLANKS, mode) for mode in ("coherence", "linear")],
            [self.of("hits", HOLES, "total_focusing"), self.of("targets", HOLES, "total_focusing")],
            [self.of("units_called", BLANKS, "total_focusing")],
            [self.of("compared_candidate_only", HOLES, beside)],
            [self.of("compared_reference_only", HOLES, beside)],
            [f"{self.of('mcnemar_exact_p', HOLES, beside):.2f}", 15],
            [*self.near(SLOTS, "coherence"), self.near(SLOTS, "total_focusing")[0]],
            [f"{slot[0]:.1f}", *self.near(HOLES, "coherence"), f"{hole[0]:.2f}", f"{hole[1]:.1f}"],
            [len(self.readers)],
            *(
                [f"{self.of('sizing_rmse', SLOTS, mode):.2f}", self.of("sized", SLOTS, mode)]
                for mode in ("coherence", "total_focusing", "linear")
            ),
            [*self.span("hits", HOLES, "coherence"), *self.span("hits", HOLES, "linear")],
            self.span("units_called", BLANKS, "coherence", "linear"),
        ]  # fmt: skip
        return [str(one) for row in rows for one in row]


@pytest.fixture(scope="module")
def sample():
    return Sample()


def test_every_number_of_what_was_concluded_is_that_of_the_sample(sample):
    """The six sentences hold the numbers of output/sample in this order, and no other."""
    points = "\n" + CONCLUDED.split("\n1. ", 1)[1]
    words = re.sub(r"\n\d\. |a90/95|a90|C\d", " ", points)
    assert re.findall(r"\d+(?:\.\d+)?", words) == sample.numbers()


def test_the_trial_is_as_large_as_told():
    """Units, open and blind, and coded coupons are those of the blocks; the rate is the plan's."""
    count = {"open": [], "blind": []}
    for path in sorted((ROOT / "reference_blocks").glob("lug_coupon_*.toml")):
        units = tomllib.loads(path.read_text(encoding="utf-8"))["grading_units"]
        count["blind" if "_blind_" in path.name else "open"].append(len(units))
    opened, blind = sum(count["open"]), sum(count["blind"])
    told = f"{opened + blind} grading units, {opened} of them on open coupons and {blind} on "
    assert told + f"{len(count['blind'])} coded ones" in " ".join(README.split())
    assert f"from {opened + blind} simulated recordings on" in README
    rate = read_thresholds(ROOT / "qualify/demo/study/thresholds.json").declared_rate
    assert f"threshold for {100 * rate:g} % of blank units" in CONCLUDED


def test_what_was_concluded_is_what_the_sample_says(sample):
    """Words without numbers: far more, no more than, worse, fewer, no bound, and each status."""
    hits = {mode: sample.of("hits", HOLES, mode) for mode in ("linear", "coherence")}
    assert hits["coherence"] >= 2 * hits["linear"]
    beside = "coherence against total_focusing"
    assert sample.of("mcnemar_exact_p", HOLES, beside) > 0.05
    error = {m: sample.of("sizing_rmse", SLOTS, m) for m in ("total_focusing", "coherence")}
    assert error["coherence"] > error["total_focusing"]
    for mode in hits:
        for kind in (HOLES, SLOTS):
            assert sample.span("hits", kind, mode)[1] < sample.of("hits", kind, mode)
    longest = sample.of("largest_size", SLOTS, "coherence")
    assert sample.missed_mm(SLOTS, "coherence")[0] == longest
    for reader in ("rule", *sample.readers):
        assert sample.of("a90_ratio_upper", HOLES, "coherence", reader) is None
        for kind in (HOLES, SLOTS):
            assert sample.of("a90_95", kind, "coherence", reader) is None
            assert sample.of("a90_ratio_upper", kind, "coherence", reader) is None
    told = {"C1": "not demonstrated", "C2": "not demonstrated", "C7": "not demonstrated",
            "C3": "met", "C5": "met", "C6": "met"}  # fmt: skip
    for name, status in told.items():
        assert sample.statuses["after_remedy", name] == {status}, name
    assert "not met" in sample.statuses["after_remedy", "C4"]
    for name in ("C5", "C6"):
        assert sample.statuses["as_found", name] == {"not met"}


DETAILS = README.split("<details><summary>Keys of the JSON documents", 1)[1].split("</details>")[0]


def named(text: str) -> set[str]:
    return set(re.findall(r"`([a-z0-9_]+)`", text))


def part(start: str, end: str) -> str:
    return DETAILS.split(start, 1)[1].split(end, 1)[0]


def test_keys_of_pod_hit_miss_are_documented(tmp_path):
    """Every key the command prints is named in the README, part by part."""
    table = tmp_path / "hits.csv"
    rows = [f"{0.5 + 0.1 * k:.1f},{int(k > 12) if k % 7 else k % 2},{k % 5}\n" for k in range(40)]
    table.write_text("size_mm,hit,depth_mm\n" + "".join(rows), encoding="utf-8")
    options = "--size size_mm --hit hit --all-bounds --models --plateau --at 2 --check-bound"
    more = ["--replicates", "100", "--covariate", "depth_mm", "--json"]
    result = CliRunner().invoke(app, ["pod", "hit-miss", str(table), *options.split(), *more])
    found = json.loads(result.stdout)
    top = part("`pod hit-miss`: `outcome`", "- `goodness`")
    assert set(found) - {"outcome"} <= named(top)
    assert set(found["bounds"]) <= named(top)
    kept = ("goodness", "pod_at", "models", "plateau", "covariate")
    for name, following in zip(kept, (*kept[1:], "holds"), strict=True):
        described = named(part(f"- `{name}` (", f"- `{following}` ("))
        printed = found[name][0] if name == "pod_at" else found[name]
        assert set(printed) <= described, name
    described = named(part("- `goodness` (", "- `pod_at` ("))
    assert set(found["goodness"]["power"][0]) <= described
    assert set(found["models"]["rows"][0]) <= named(part("- `models` (", "- `plateau` ("))
    assert set(found["models"]["a90"]) <= named(part("- `models` (", "- `plateau` ("))
    assert set(found["covariate"]["a90"][0]) <= named(part("- `covariate` (", "- `holds` ("))
    holds = named(part("- `holds` (", "`pod holds-table`:"))
    assert set(found["holds"]) | set(found["holds"]["cases"]["fit"]) <= holds


@pytest.mark.parametrize("command", ["false-calls", "sizing"])
def test_keys_of_the_other_documents_are_documented(command, tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("called,true_mm,said\nno,1,1.2\nyes,2,1.9\n", encoding="utf-8")
    options = {
        "false-calls": ["--called", "called"],
        "sizing": ["--true", "true_mm", "--reported", "said"],
    }
    result = CliRunner().invoke(app, [command, str(table), *options[command], "--json"])
    described = named(DETAILS.split(f"`{command}`:", 1)[1].split("\n\n", 1)[0])
    assert set(json.loads(result.stdout)) == described


def test_keys_within_the_document_of_sizing_are_documented(tmp_path):
    """Every key of its parts, and every option, is named in the README."""
    table = tmp_path / "t.csv"
    rows = [f"F{k},R{k % 2},{k + 1},0.1,{'' if k == 3 else k + 1.2 - 0.1 * k},{int(k != 3)}\n"
            for k in range(12)]  # fmt: skip
    table.write_text("flaw,who,true_mm,u,said,found\n" + "".join(rows), encoding="utf-8")
    options = "--true true_mm --reported said --true-u u --target flaw --reader who --found found"
    result = CliRunner().invoke(
        app, ["sizing", str(table), *options.split(), "--smallest", "0.5", "--json"]
    )
    found = json.loads(result.stdout)
    described = named(part("- with `--reader` also `reader` (the one with", "`simulate`: "))
    within = [found[k] for k in ("line", "method", "trend", "spread", "normality", "agreement")]
    within += [found["ordered"], found["worst"], found["worst"]["undersized"][0]]
    within += found["counted_in"] or found["readers"]["R1"]["counted_in"]
    assert {key for document in within for key in document} <= described
    assert {"reader", "readers"} <= set(found)
    section = README.split("### Sizing error", 1)[1].split("<details>", 1)[0]
    asked = set(re.findall(r"--[a-z][a-z-]+", section))
    assert known_options("sizing") - asked <= {"table", "--size-unit", "--json"}
    assert asked <= known_options("sizing")


def test_keys_of_simulate_are_documented(tmp_path):
    """Every key of the document stands in the README, and every key of the file in its table."""
    (tmp_path / "blocks").mkdir()
    (tmp_path / "blocks" / "example_block.toml").write_text(example_text("block"), encoding="utf-8")
    words = re.sub(r"units = \[[^]]*]", "x_mm = [30.0, 90.0]", example_text("simulation"))
    words = words.replace("elements = 60", "elements = 4").replace("samples = 1024", "samples = 64")
    (tmp_path / "simulation.toml").write_text(words, encoding="utf-8")
    result = CliRunner().invoke(app, ["simulate", str(tmp_path), "--json"])
    found = json.loads(result.stdout)
    described = named(part("`simulate`: ", "Exit codes")) | {"study"}
    assert set(found) | set(found["recordings"][0]) <= described
    assert {key for one in found["remarks"] for key in one} <= described
    section = README.split("| Key of `simulation.toml` |", 1)[1].split("\n\n", 1)[0]
    table = set(re.findall(r"[a-z_0-9]+", " ".join(re.findall(r"`([^`]+)`", section))))
    keys = set(SimulationPlan.model_fields) | set(Positions.model_fields)
    assert keys | set(Conditions.model_fields) <= table | {
        "format", "provenance",
    }  # fmt: skip


def in_table(head: str) -> set[str]:
    """Return the names in code of a table of README."""
    section = README.split(f"| {head} |", 1)[1].split("\n\n", 1)[0]
    return set(re.findall(r"[a-z_0-9]+", " ".join(re.findall(r"`([^`]+)`", section))))


def test_keys_of_the_reading_stage_are_documented():
    """Every key of reading.toml stands in its table; of its tables and thresholds in the text."""
    models = (ReadingPlan, ReadMode, Masked, ReaderRow)
    keys = {key for model in models for key in model.model_fields}
    assert keys <= in_table("Key of `reading.toml`") | {"format", "provenance"}
    section = README.split("`thresholds.json` holds", 1)[1]
    thresholds, rest = section.split("`presentation.csv` says", 1)
    assert {*Thresholds.model_fields, *ModeThreshold.model_fields} <= named(thresholds)
    presentation, sizes = rest.split("\n## ", 1)[0].split("`sizes.csv` holds", 1)
    assert set(PresentedRow.model_fields) <= named(presentation)
    assert set(SizeRow.__slots__) <= named(sizes)


def test_keys_of_image_and_read_of_a_trial_are_documented(tmp_path):
    """Every key that both print of the folder of a trial is named in the README."""
    run, folder = CliRunner(), small_trial.written(tmp_path / "simulated")
    image_trial(folder, lambda *_: None, workers=1)
    recorded = small_trial.written(tmp_path / "recorded", simulated=False)
    small_trial.stored(small_trial.recordings(folder), recorded / "recordings")
    described = named(part("`image` of the folder of a trial:", "`read`: `folder`"))
    for path in (folder, recorded):
        found = json.loads(run.invoke(app, ["image", str(path), "--json"]).stdout)
        assert set(found) | set(found["images"][0]) <= described
    described = {"folder"} | named(part("`read`: `folder`", "`freeze`, `seal`, `unseal`"))
    for options in (["--open"], []):
        found = json.loads(run.invoke(app, ["read", str(folder), *options, "--json"]).stdout)
        assert set(found) <= described
    told = read_thresholds(ROOT / "qualify" / "demo" / "study" / "thresholds.json")
    document = threshold_document(told)
    assert set(document) | set(document["modes"][0]) <= described


def test_keys_of_freeze_seal_and_unseal_are_documented(tmp_path):
    """Every key that the three commands print, and of what they record, is named in the README."""
    run, study = CliRunner(), str(tmp_path / "study")
    assert run.invoke(app, ["new", study]).exit_code == 0
    described = named(part("`freeze`, `seal`, `unseal`: `study`", "Exit codes")) | {"study"}
    by_two = ["--study", "EXAMPLE-01", "--by", "C-1", "--by", "C-2"]
    for command, options in (("freeze", by_two[-2:]), ("seal", by_two[2:4]), ("unseal", by_two)):
        found = json.loads(run.invoke(app, [command, study, *options, "--json"]).stdout)
        assert set(found) | set(found["what"]) <= described
        assert set(found["what"].get("software", ())) <= described
    lines = (tmp_path / "study" / "events.jsonl").read_text("utf-8").splitlines()
    assert {key for line in lines for key in json.loads(line)} <= described
    assert set(AGAINST) - {"frozen_after_opening"} <= described


def known_options(*path: str) -> set[str]:
    command = get_command(app)
    for name in path:
        command = command.commands[name]
    return {name for option in command.params for name in option.opts}


def test_options_in_the_readme_exist():
    text = README.split("`pod hit-miss` tells more where it is asked to:", 1)[1]
    table, rest = text.split("### Recorded responses", 1)
    responses, rest = rest.split("`qualify pod holds-table --out", 1)
    asked = set(re.findall(r"--[a-z][a-z-]+", table))
    assert len(asked) >= 10
    assert asked <= known_options("pod", "hit-miss")
    asked = set(re.findall(r"--[a-z][a-z-]+", responses))
    assert len(asked) >= 20
    known = [known_options("pod", "response"), known_options("false-calls"), {"--out"}]
    assert asked <= set().union(*known)
    line = "--out" + rest.split("\n\n", 1)[0].split("`qualify bench`")[0]
    assert set(re.findall(r"--[a-z][a-z-]+", line)) <= known_options("pod", "holds-table")


def test_keys_of_image_and_check_are_documented(tmp_path):
    """Every key that `image` and `check` print of a recording is named in the README."""
    run = CliRunner()
    assert run.invoke(app, ["example", "recording", "--out", str(tmp_path / "é x")]).exit_code == 0
    here = tmp_path / "é x"
    plan = (here / "imaging.toml").read_text(encoding="utf-8")
    assert "step_mm = 0.15" in plan
    (here / "imaging.toml").write_text(plan.replace("step_mm = 0.15", "step_mm = 0.5"), "utf-8")
    files = [str(here / name) for name in ("recording.h5", "flaw_free.h5", "imaging.toml")]
    asked = ["--twin", files[1], "--imaging", files[2], "--figures", "none", "--json"]
    found = run.invoke(app, ["image", files[0], *asked, "--out", str(here / "out")])
    assert found.exit_code == 0, found.output
    told, described = (
        json.loads(found.stdout),
        named(part("`image`: `recordings`", "`false-calls`")),
    )
    described.add("recordings")
    (one,) = told["images"]
    parts = [told, one, one["twin"], *one["modes"], one["modes"][0]["largest"]]
    parts += [place for mode in one["modes"] for place in mode["looked_at"]]
    parts += [point for mode in one["modes"] for point in mode["grid"]]
    places = [place for mode in one["modes"] for place in mode["looked_at"]]
    parts += [
        place[key] for place in places for key in ("peak", "noise", "twin_noise") if key in place
    ]
    parts += [of for mode in one["modes"] for point in mode["grid"] for of in point.values()]
    parts.append(one["region"])
    assert {key for document in parts for key in document} <= described
    checked = json.loads(run.invoke(app, ["check", files[0], "--json"]).stdout)
    described = named(part("`check`: `checked`", "`image`: `recordings`")) | {"checked"}
    (one,) = checked["checked"]
    parts = [checked, one, checked["recordings"], one["examination"], one["gate"]]
    parts += [one["examination"]["figures"], *one["examination"]["figures"].values()]
    assert {key for document in parts for key in document} <= described
