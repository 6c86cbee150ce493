"""TOML files, one workbook and finished tables of a study lead to the same results.json.

But for one thing: finished tables hold no calls that could be matched again, so that they have no
numbers under another matching box.
"""

import pytest

from qualify.dossier.results import results_bytes
from qualify.files import write_whole
from qualify.reading.tables import to_csv
from qualify.study.load import load_study
from qualify.study.workbook import write_workbook
from tests.quick import run_quickly, without_boxes

FEW = (199, 40)
"""And a quick run: what only says how far bounds hold comes from the same fits."""


@pytest.fixture(scope="module")
def by_toml(pristine):
    return run_quickly(load_study(pristine), *FEW, quick=True)


def test_workbook(by_toml, tmp_path):
    inputs = by_toml.inputs
    book = write_workbook(
        inputs.plan,
        inputs.declaration,
        inputs.blocks,
        inputs.sets,
        inputs.key,
        inputs.calls,
    )
    write_whole(tmp_path / "study.xlsx", book)
    again = run_quickly(load_study(tmp_path / "study.xlsx"), *FEW, quick=True)
    assert results_bytes(again) == results_bytes(by_toml)


def test_finished_tables(by_toml, study):
    tables = by_toml.all_tables
    for name in ("opportunities", "calls", "measurements"):
        write_whole(study / f"{name}.csv", to_csv(getattr(tables, name)))
    (study / "data.toml").write_text(
        'format = 1\nstudy = "lug-demo"\nsets = "sets.csv"\n[tables]\n'
        'opportunities = "opportunities.csv"\ncalls = "calls.csv"\n'
        'measurements = "measurements.csv"\n',
        encoding="utf-8",
    )
    again = run_quickly(load_study(study), *FEW, quick=True)
    assert not again.inputs.blocks
    assert results_bytes(again) == results_bytes(without_boxes(by_toml))


def test_results_are_the_same_in_any_order_of_sheets(by_toml, study):
    text = (study / "data.toml").read_text(encoding="utf-8")
    head, *sheets = text.split("[[call_sheets]]")
    (study / "data.toml").write_text(
        head + "".join(f"[[call_sheets]]{sheet.rstrip()}\n\n" for sheet in reversed(sheets)),
        encoding="utf-8",
    )
    assert results_bytes(run_quickly(load_study(study), *FEW, quick=True)) == results_bytes(by_toml)
