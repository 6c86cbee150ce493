"""The dossier as a client and an examiner take it: same bytes, whole pages, honest words."""

import io
import json
import re
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest

from qualify.dossier.build import build_dossier
from qualify.dossier.claims import claim_of
from qualify.dossier.results import results_bytes
from qualify.files import digest
from qualify.study.result import InputFile

sys.path.insert(0, str(Path(__file__).parent))
from made_study import MADE_UP, inputs_of, made

from tests.quick import one_figure, readers_apart, run_quickly, without_boxes

HERE = Path(__file__).parent
PAGE = re.compile(r"page (\d+) of (\d+)")
needs_pdftotext = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="pdftotext (poppler-utils) is not installed"
)


def poppler(pdf, *options):
    run = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", *options, "-", "-"],
        input=pdf,
        capture_output=True,
        check=True,
    )
    return run.stdout.decode()


def text_pages(pdf, *options):
    return poppler(pdf, *options).split("\f")[:-1]


def flat(text):
    return " ".join(text.split())


@pytest.fixture(scope="module")
def study():
    return made(pieces=5)


@pytest.fixture(scope="module")
def small():
    return made(pieces=2)


@pytest.fixture(scope="module")
def files(study):
    return build_dossier(study)


@pytest.fixture(scope="module")
def clean_files():
    with one_figure():
        return build_dossier(made(clean=True, signal="measured", invented=False, pieces=3))


def test_a_dossier_is_all_of_its_files(files):
    names = {name for name in files if not name.startswith("figures/")}
    assert names == {
        "dossier.pdf", "results.json", "opportunities.csv", "calls.csv", "measurements.csv",
        "trials.csv", "manifest.json",
    }  # fmt: skip
    alt_texts = json.loads(files["figures/alt_texts.json"])
    assert {f"figures/{n}.{s}" for n in alt_texts for s in ("svg", "png")} <= set(files)
    assert all(words for words in alt_texts.values())
    assert len(files["dossier.pdf"]) < 2_000_000


def test_the_manifest_names_every_file_by_its_digest(study, files):
    manifest = json.loads(files["manifest.json"])
    assert {item["name"]: item["sha256"] for item in manifest["outputs"]} == {
        name: digest(content) for name, content in files.items() if name != "manifest.json"
    }
    assert manifest["inputs"] == [{"name": f.name, "sha256": f.sha256} for f in study.inputs.files]


def test_results_do_not_tell_the_names_of_files(small):
    calls = tuple(replace(c, file="book.xlsx", sheet="calls") for c in small.inputs.calls)
    files = (InputFile("book.xlsx", "0" * 64),)
    again = run_quickly(replace(small.inputs, files=files, calls=calls))
    assert results_bytes(again) == results_bytes(small)


def test_finished_tables_give_the_same_results_and_say_what_they_don_t_show(small):
    finished = run_quickly(
        replace(small.inputs, blocks=(), key=(), calls=(), finished=small.tables)
    )
    with one_figure():
        out = build_dossier(finished)
    assert out["results.json"] == results_bytes(without_boxes(small))
    if shutil.which("pdftotext"):
        text = flat(" ".join(text_pages(out["dossier.pdf"])))
        assert text.count("the study entered with finished tables") >= 3


def test_every_font_is_dejavu_and_embedded(files):
    with pikepdf.open(io.BytesIO(files["dossier.pdf"])) as pdf:
        fonts = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary)
                 and o.get("/Type") == "/Font" and "/DescendantFonts" not in o]  # fmt: skip
        assert len(fonts) >= 4
        for font in fonts:
            assert "DejaVu" in str(font.BaseFont)
            held = font.FontDescriptor
            assert "/FontFile2" in held or "/FontFile3" in held
        assert str(pdf.Root.Lang) == "en-GB"
        assert str(pdf.docinfo["/Title"]).startswith("Coherence imaging on hinge lugs")


def test_bookmarks_lead_to_all_chapters_in_order(files):
    with pikepdf.open(io.BytesIO(files["dossier.pdf"])) as pdf, pdf.open_outline() as outline:
        titles = [str(item.title) for item in outline.root]
    assert titles[:2] == ["The claim and its limits", "Contents"]
    assert [int(title.split()[0]) for title in titles[2:]] == list(range(1, 21))


@needs_pdftotext
def test_every_page_says_which_of_how_many_it_is(files):
    pages = text_pages(files["dossier.pdf"], "-layout")
    with pikepdf.open(io.BytesIO(files["dossier.pdf"])) as pdf:
        assert len(pdf.pages) == len(pages)
    found = [PAGE.findall(page)[-1] for page in pages]
    assert found == [(str(i), str(len(pages))) for i in range(1, len(pages) + 1)]
    first = digest(files["results.json"])[:16]
    assert all(first in page for page in pages)


@needs_pdftotext
def test_simulated_stands_on_every_page_of_simulated_data_only(files, clean_files):
    for page in text_pages(files["dossier.pdf"]):
        assert re.search(r"^SIMULATED$", page, re.MULTILINE)
    assert not any(
        re.search(r"^(SIMULATED|SYNTHETIC)$", page, re.MULTILINE)
        for page in text_pages(clean_files["dossier.pdf"])
    )


@needs_pdftotext
@pytest.mark.parametrize("which", ["files", "clean_files"])
def test_no_text_leaves_the_page(which, request):
    pdf = request.getfixturevalue(which)["dossier.pdf"]
    boxes = poppler(pdf, "-bbox")
    words = re.findall(
        r'xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)"', boxes
    )
    assert len(words) > 1000
    left, right = 25 * 72 / 25.4 - 1, 595.3 - 15 * 72 / 25.4 + 1
    for word in words:
        x0, y0, x1, y1 = map(float, word)
        assert left <= x0 <= x1 <= right
        assert 0 <= y0 <= y1 <= 841.9


@needs_pdftotext
def test_every_size_on_the_detection_page_is_in_the_results(study, files):
    results = json.loads(files["results.json"])["estimates"]
    text = flat(" ".join(text_pages(files["dossier.pdf"], "-layout")))
    page = text[text.index("9 Detection Results") : text.rindex("10 False calls Counted")]
    told = Counter(re.findall(r"(?<![\d.])\d+\.\d\d(?![\d])", page))
    names = ("a50", "a90", "a90_95", "a90_95_wald", "a90_lower_95", "largest_miss")
    wanted = Counter(
        f"{e['value']:.2f}"
        for e in results
        if e["basis"] == study.headline and e["statistic"] in names and e["value"] is not None
        and not (e["reader"] == "new_reader" and e["statistic"] == "a90_lower_95")
    )  # fmt: skip
    assert wanted
    assert not wanted - told


@needs_pdftotext
def test_a_recalled_limit_is_never_printed(study, files):
    text = " ".join(text_pages(files["dossier.pdf"]))
    assert f"{MADE_UP:g}" not in text
    assert "recalled, not checked, not judged" in flat(text).lower()
    assert any(not c.verified and c.limit == MADE_UP for c in study.inputs.plan.criteria)
    assert not any(
        f"{MADE_UP:g}".encode() in content for name, content in files.items() if "figures" in name
    )


@needs_pdftotext
def test_the_totals_of_the_tick_off_are_those_of_the_estimates(study, files):
    text = " ".join(text_pages(files["dossier.pdf"], "-layout"))
    rows = [
        line.split()[3:]
        for line in text.splitlines()
        if line.strip().startswith("Found of counted")
    ]
    for kind, row in zip(("side_drilled_hole", "embedded_slot"), rows, strict=True):
        wanted = [
            f"{study.estimates.value(study.headline, 'hits', kind, mode.id, reader):.0f}/"
            f"{study.estimates.value(study.headline, 'targets', kind, mode.id, reader):.0f}"
            for mode in study.inputs.plan.modes
            for reader in study.readers
        ]
        assert row == wanted


@needs_pdftotext
def test_without_remedies_that_matter_no_second_column_stands(files, clean_files):
    assert "After remedy" in flat(" ".join(text_pages(files["dossier.pdf"])[:2]))
    first = flat(" ".join(text_pages(clean_files["dossier.pdf"])[:2]))
    assert "As found" not in first
    assert "DEVIATION" not in first


@needs_pdftotext
def test_the_tool_never_says_that_a_technique_is_qualified(files, clean_files):
    for made_files in (files, clean_files):
        text = flat(" ".join(text_pages(made_files["dossier.pdf"]))).lower()
        for word in (r"is qualified", r"\bpassed\b", r"\bcertified (mode|technique|procedure)"):
            assert not re.search(word, text)
        assert "does not qualify" in text


@needs_pdftotext
@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"all_hit": True}, "every target was hit"),
        ({"slots": False}, "No embedded slots were read"),
        ({"false_calls": 0.9}, "false calls."),
        ({"modes": ("coherence",)}, "one mode only"),
        ({"remedies": False}, "none recorded"),
        ({"pieces": 1}, "No a90/95 for"),
    ],
)
def test_awkward_studies_are_told_in_words(options, words):
    with one_figure(), readers_apart():
        out = build_dossier(run_quickly(inputs_of(**{"pieces": 2, **options})))
    assert words in flat(" ".join(text_pages(out["dossier.pdf"])))


def test_long_and_foreign_names_break_no_page():
    name = "LUG-" + "x" * 60
    inputs = inputs_of(pieces=2, name=name, files=[InputFile("ßäöü/" + "y" * 180, "ab" * 32)])
    declaration = inputs.declaration.model_copy(
        update={
            "title": "Prüfung Ψ № 7 <b>&amp; " + "w" * 120,
            "limitations": ("A very long limit. " * 200,),
            "blindness": "q" * 3000,
        }
    )
    with one_figure(), readers_apart():
        out = build_dossier(run_quickly(replace(inputs, declaration=declaration)))
    assert len(out["dossier.pdf"]) > 50_000


def status_of(*few, quick=False, **options):
    inputs = inputs_of(
        **{"clean": True, "signal": "measured", "invented": False, "pieces": 14, **options}
    )
    with readers_apart():
        study = run_quickly(inputs, *few, quick=quick)
    return study, claim_of(study, "side_drilled_hole", "coherence")


def test_a_claim_is_demonstrated_only_on_evidence_without_a_gap():
    study, claim = status_of(6999)
    bound = study.estimates.get(study.headline, "a90_95", "side_drilled_hole", "coherence", "R3")
    assert bound.in_range
    assert claim.status.startswith("Demonstrated")
    assert "not on real flaws" in claim.status
    assert claim.grade.letter == "B"  # the order of events is declared, not recorded
    wide = study.inputs.declaration.scope.model_copy(update={"thickness_max_mm": 80.0})
    late = [e for e in study.inputs.declaration.events if e.kind != "truth_opened"]
    newer = study.inputs.declaration.software[2].model_copy(update={"revision": "4.3"})
    software = (*study.inputs.declaration.software[:2], newer)
    for update, why in (
        ({"scope": wide}, "the scope is wider than the blocks"),
        ({"events": tuple(late)}, "not recorded: truth opened"),
        ({"software": software}, "more than one software revision was in use"),
    ):
        changed = study.inputs.declaration.model_copy(update=update)
        with readers_apart():
            again = run_quickly(replace(study.inputs, declaration=changed), 199, 10, quick=True)
        again = replace(again, checks=study.checks)  # of the same calls
        told = claim_of(again, "side_drilled_hole", "coherence")
        assert told.status.startswith("Not demonstrated:")
        assert why in told.status


@pytest.mark.parametrize("options", [{"signal": "simulated"}, {"invented": True}])
def test_simulated_or_invented_data_have_the_lowest_grade(options):
    _, claim = status_of(199, 10, quick=True, **options)
    assert claim.grade.letter == "F"
    assert claim.status.startswith("Not demonstrated (invented or simulated data only)")
