"""README.md keeps its promises of form."""

import json
import re
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.simulation.conditions import Conditions
from qualify.study.simulation_plan import Positions, SimulationPlan
from qualify.study.template import example_text

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_quick_start_holds_exactly_two_lines():
    section = README.split("## Quick start", 1)[1]
    block = re.search(r"```\w*\n(.*?)```", section, re.DOTALL)
    lines = block.group(1).strip().splitlines()
    assert len(lines) == 2
    assert all("python3 -m venv" in line and "-c constraints.txt" in line for line in lines)
    assert lines[0].endswith("qualify demo")
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
