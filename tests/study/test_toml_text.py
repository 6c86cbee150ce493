"""TOML as we write it is TOML 1.0 (read by the standard library) and reads back the same."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.blocks.definition import Block
from qualify.criteria.rules import RULES
from qualify.study.data import DataSources
from qualify.study.declaration import Declaration
from qualify.study.flat import columns_of, flatten, unflatten
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.load import load_study
from qualify.study.plan import Plan
from qualify.study.reading_plan import ReadingPlan
from qualify.study.template import (
    FILES,
    example_explained,
    example_text,
    template_files,
    template_study,
)
from qualify.study.toml_text import to_toml, toml_value
from qualify.study.totals import check_path

STUDY = template_study()


@pytest.mark.parametrize("model", [STUDY.plan, STUDY.declaration, *STUDY.blocks])
def test_models_come_back_the_same(model: Plan | Declaration | Block) -> None:
    text = to_toml(model, head="two lines\nof head")
    assert text.startswith("# two lines\n# of head\n\n")
    assert type(model).model_validate(tomllib.loads(text)) == model
    for name, field in type(model).model_fields.items():
        if field.description:
            assert f"# {field.description.split(' (')[0][:60]}" in text, name


def test_the_rule_of_a_reading_comes_back_the_same(tmp_path: Path) -> None:
    """Masks, methods, models of readers; its regions lie in that of the example of images, its
    modes and block are those of the examples, and `check` takes it."""
    text = example_text("reading")
    plan = ReadingPlan.model_validate(tomllib.loads(text))
    again = tomllib.loads(to_toml(plan, head="two lines\nof head"))
    assert ReadingPlan.model_validate(again) == plan
    assert plan.modes[0].masks
    assert plan.readers
    imaging = ImagingPlan.model_validate(tomllib.loads(example_text("imaging")))
    assert {mode.name for mode in plan.modes} <= {mode.name for mode in imaging.modes}
    inner, outer = plan.region, imaging.region
    assert outer.x_from_mm < inner.x_from_mm < inner.x_to_mm < outer.x_to_mm
    assert outer.z_from_mm < inner.z_from_mm < inner.z_to_mm < outer.z_to_mm
    assert plan.open_blocks == (STUDY.blocks[0].id,)
    (tmp_path / "reading.toml").write_text(text, encoding="utf-8")
    assert check_path(tmp_path / "reading.toml")["totals"]["declared_rate"] == 0.02


def test_finished_tables_and_empty_lists_come_back_the_same() -> None:
    tables = {"opportunities": "o.csv", "calls": "c.csv"}
    sources = DataSources.model_validate({"format": 1, "study": "S", "tables": tables})
    text = to_toml(sources, head="")
    assert "# [[call_sheets]]" in text
    assert DataSources.model_validate(tomllib.loads(text)) == sources


@given(st.text(st.characters(exclude_categories=("Cs",))))
def test_any_text_is_escaped(text: str) -> None:
    assert tomllib.loads(f"a = {toml_value(text)}")["a"] == text


@given(st.floats(allow_nan=False))
def test_any_number_keeps_all_digits(number: float) -> None:
    assert repr(tomllib.loads(f"a = {toml_value(number)}")["a"]) == repr(number)


@settings(max_examples=30)
@given(st.text(min_size=1).filter(str.strip), st.dates())
def test_comments_and_values_stay_apart(text: str, day: object) -> None:
    update = {"title": text.strip(), "dated": day, "limitations": (text.strip(),)}
    declaration = STUDY.declaration.model_copy(update=update)
    again = tomllib.loads(to_toml(declaration, head=text))
    assert Declaration.model_validate(again) == declaration


def test_flat_cells_go_back_to_the_same_model() -> None:
    for target in STUDY.blocks[0].targets:
        cells = flatten(target)
        assert set(cells) <= {column.name for column in columns_of(type(target))}
        assert type(target).model_validate(unflatten(cells)) == target


def test_the_folder_is_the_same_study_as_the_workbook(tmp_path: Path) -> None:
    for name, content in template_files().items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    inputs = load_study(tmp_path)
    assert (inputs.plan, inputs.declaration) == (STUDY.plan, STUDY.declaration)
    assert (inputs.blocks, inputs.sets, inputs.key) == (STUDY.blocks, STUDY.sets, STUDY.key)
    assert list(inputs.calls) == list(STUDY.calls)


def test_the_template_names_no_requirement() -> None:
    assert {c.statistic for c in STUDY.plan.criteria} == set(RULES) - {"a90_ratio"}
    for criterion in STUDY.plan.criteria:
        assert not criterion.verified
        assert criterion.source.startswith("EXAMPLE VALUE, replace it")
    assert STUDY.declaration.invented
    block = STUDY.blocks[0]
    assert len(block.grading_units) == 6
    assert len(block.blank_units()) == 3
    for name, field in Declaration.model_fields.items():
        if str(field.annotation).startswith("tuple"):
            assert getattr(STUDY.declaration, name), name


def test_examples_are_the_files_of_the_template() -> None:
    files = template_files()
    for what, name in FILES.items():
        assert example_text(what) == files[name].decode()  # type: ignore[arg-type]
    header = example_text("calls").splitlines()[0].split(",")
    told = example_explained("calls")
    assert all(f"\n{column} (" in told for column in header)
    assert len(example_text("tables").splitlines()) == 3
