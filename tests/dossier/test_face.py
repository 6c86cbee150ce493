"""Pages 1 and 2: how often a size holds, what speaks against the curve, and no statistics."""

import json
import re
import sys
from pathlib import Path

import pytest

from qualify.dossier.build import build_dossier
from qualify.dossier.claims import blocked, claim_of

sys.path.insert(0, str(Path(__file__).parent))
from made_study import made
from test_dossier import flat, needs_pdftotext, text_pages

from tests.quick import one_figure

HOLES = "side_drilled_hole"
STATISTICS = (
    "likelihood", "link", "p value", r"p =", "monte-carlo", "log-log", "loglog", "cloglog", "logit",
    "probit", "aic", "bootstrap", "covariance", "covariate", "quantile", "coverage", "plateau",
)  # fmt: skip


@pytest.fixture(scope="module", params=["usual", "no overlap"])
def built(request):
    options = {"pieces": 5}
    if request.param == "no overlap":
        options |= {"clean": True, "steps": True}
    study = made(**options)
    with one_figure():
        return study, build_dossier(study)


@needs_pdftotext
def test_no_word_of_statistics_stands_on_pages_1_and_2(built):
    _, files = built
    text = flat(" ".join(text_pages(files["dossier.pdf"])[:2])).lower()
    text = text.replace("weakest link", "")
    found = [word for word in STATISTICS if re.search(rf"\b{word}\b", text)]
    assert found == []


@needs_pdftotext
def test_the_statement_ends_on_page_2(built):
    _, files = built
    pages = text_pages(files["dossier.pdf"])
    assert pages[2].lstrip().startswith("Contents")
    assert "Not covered:" in pages[0]


def test_beside_each_size_stands_how_often_it_holds(built):
    study, _ = built
    get = study.estimates.value
    for mode in ("coherence", "linear"):
        claim = claim_of(study, HOLES, mode)
        who = re.search(r"worst reader, (R\d)\)", claim.how_big)
        if who is None:
            continue
        where = (HOLES, mode, who.group(1))
        share = get(study.headline, "holds_fit", *where)
        error = get(study.headline, "holds_fit_error", *where)
        assert f"held in {100 * share:.1f} ± {100 * error:.1f} % if" in claim.how_sure
        cases = ("fit", "steeper", "shallower", "probit", "cloglog", "loglog", "plateau")
        low = min(get(study.headline, f"holds_{case}", *where) for case in cases)
        assert low == share or f"{100 * low:.1f} ±" in claim.how_sure


def test_without_overlap_a_size_is_told_without_a_curve():
    study = made(pieces=5, clean=True, steps=True)
    claim = claim_of(study, HOLES, "coherence")
    bound = study.estimates.value(study.headline, "a90_95", HOLES, "coherence", "R3")
    assert (
        f"{bound:.2f} mm (a90/95 of the worst reader, R3): no curve can be drawn" in claim.how_big
    )
    assert "if the curve at the bound itself is true" in claim.how_sure
    assert "if the fitted curve" not in claim.how_big + claim.how_sure
    assert "no a90/95 exists for the worst reader" not in blocked(study, HOLES, "coherence")


def test_without_overlap_the_bound_is_marked_and_no_curve_drawn():
    study = made(pieces=5, clean=True, steps=True)
    files = build_dossier(study)
    told = json.loads(files["figures/alt_texts.json"])
    assert "No curve is drawn: every miss is smaller than every hit" in told["pod-1-1"]
    assert "a90 none; a90/95 0." in told["pod-1-1"]
    assert not any(name.startswith("models-") for name in told)
