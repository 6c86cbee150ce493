"""`pod hit-miss` with readers and targets: all readers together, as a document and in words."""

import json
from pathlib import Path

import numpy as np
import pytest

from qualify.errors import InputError
from qualify.raw_tables import RawRow, RawTable
from qualify.study.answers import pod_hit_miss
from qualify.study.answers_more import Asked
from qualify.study.answers_words import pod_lines

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
COLUMNS = ("size_mm", "hit", "target", "reader")


def table(change=None) -> RawTable:
    """Invented hits of 40 targets read by three readers, who go together."""
    rng = np.random.default_rng(5)
    rows = []
    for i, size in enumerate(np.geomspace(0.4, 6.0, 40)):
        hard = rng.normal()
        for reader in ("R1", "R2", "R3"):
            hit = 2.0 * np.log(size / 1.4) > 0.8 * hard + 0.6 * rng.normal()
            cells = {"size_mm": f"{size:.3f}", "hit": str(int(hit)), "target": f"T{i}"}
            rows.append({**cells, "reader": reader})
    if change is not None:
        rows[4] = {**rows[4], **change}
    made = tuple(RawRow(n, cells) for n, cells in enumerate(rows, start=2))
    return RawTable("readings.csv", None, COLUMNS, made)


@pytest.fixture(scope="module")
def document():
    return pod_hit_miss(
        table(), size="size_mm", hit="hit", target="target", reader="reader",
        asked=Asked(check_bound=True, replicates=100),
    )  # fmt: skip


def test_targets_are_the_sample(document):
    """The bound of all together lies beyond that of readings taken for targets."""
    told = document["together"]
    assert (told["targets"], told["readings"]) == (40, 120)
    assert told["readings_as_targets_a90_95"] < told["a90_95"] < told["new_reader"]["a90_95"]
    assert told["holds"]["share"] > told["holds"]["readings_as_targets"]
    json.dumps(document, allow_nan=False)


def test_every_key_stands_in_the_readme(document):
    told = document["together"]
    keys = [*told, *told["new_reader"], *told["beside"], *told["holds"]]
    assert [key for key in keys if f"`{key}`" not in README] == []


def test_people_are_told_both_bounds_and_the_warning(document):
    lines = "\n".join(pod_lines(document))
    assert "3 readers, 40 targets" in lines
    assert "these readers:" in lines
    assert "a new reader:" in lines
    assert "It is no bound" in lines


def test_without_targets_nothing_is_pooled():
    """Readings can't be told from targets: each reader apart, no more."""
    found = pod_hit_miss(table(), size="size_mm", hit="hit", reader="reader")
    assert "together" not in found


def test_one_target_of_two_sizes_is_refused():
    with pytest.raises(InputError, match="targets with two sizes: T1 "):
        pod_hit_miss(
            table({"size_mm": "3.3"}), size="size_mm", hit="hit", target="target", reader="reader"
        )
