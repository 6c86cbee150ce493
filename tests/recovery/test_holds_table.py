"""The table of how often bounds hold: statistics of a batch against bounds solved one by one."""

import re
from pathlib import Path

import numpy as np
import pytest

from qualify.pod.firth import firth_size_bound
from qualify.pod.holds_beside import (
    bootstrap_places,
    firth_curves,
    firth_roots,
    signed_roots,
)
from qualify.pod.holds_table import (
    CELLS,
    CENTRE,
    SPREAD,
    TableCell,
    count_cell,
    sizes_of,
    true_curve,
)
from qualify.pod.links import eta_of
from qualify.pod.observations import observe
from qualify.pod.other_bounds import (
    cheng_iles_bound,
    r_star_bound,
    resampled_psi,
    whole_curve_constant,
)
from qualify.pod.problem import BOUND_NAMES, FittedCurve, sized_hits
from qualify.pod.simulation import place_of
from qualify.pod.trials import delta_places, simulated_hits, trial_fits
from qualify.study.answers_holds import cells_named, table_text

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
LEVEL, Z = float(eta_of("logit", 0.9)), 1.6448536269514722
SOME = 60


@pytest.fixture(scope="module", params=["moderate-loguniform-60", "steep-uniform-30"])
def trials(request):
    (cell,) = cells_named([request.param])
    design, truth = sizes_of(cell, SOME, 11), true_curve(cell.curve)
    hits = simulated_hits(design, truth, SOME, 11)
    seen = [
        observe(np.exp(CENTRE + SPREAD * t), h, None, "log")
        for t, h in zip(design.t, hits, strict=True)
    ]
    return design, truth, hits, seen


def psi_from(size):
    return (np.log(size) - CENTRE) / SPREAD


def test_r_star_statistic_and_bound_agree(trials):
    """At the bound solved one by one, r* of the batch is z; no bound, no statistic."""
    design, truth, hits, seen = trials
    fits = trial_fits(design, hits, 0.95)
    roots = signed_roots(fits, truth.a90, LEVEL)[1]
    for k, one in enumerate(seen):
        bound = r_star_bound(sized_hits(one, "logit"), 0.9, 0.95, "upper").value
        assert (bound is None) == (roots[k] == -np.inf)
        if bound is not None:
            at = signed_roots(fits, psi_from(bound), LEVEL)[1][k]
            assert at == pytest.approx(Z, abs=1e-6)
            assert (bound >= 3.0) == (roots[k] <= Z)


def test_firth_statistic_and_bound_agree(trials):
    """Two programs, Newton's method and compiled scoring, find the same penalised profile."""
    design, _, hits, seen = trials
    t = np.ascontiguousarray(design.t)
    curves, bounds = firth_curves(t, hits), []
    for one in seen:
        there = len(set(one.hits.tolist())) > 1
        bounds.append(firth_size_bound(one).value if there else None)
    assert sum(b is not None for b in bounds) > 0.9 * SOME
    for k, bound in enumerate(bounds):
        if bound is not None:
            at = firth_roots(t, hits, curves, psi_from(bound), LEVEL)[k]
            assert at == pytest.approx(Z, abs=1e-5)


def test_whole_curve_and_bootstrap_bounds_agree(trials):
    design, _, hits, seen = trials
    fits = trial_fits(design, hits, 0.95)
    wide = delta_places(fits, LEVEL, whole_curve_constant(0.95) ** 0.5)
    seeds = np.arange(1, SOME + 1).astype(np.uint64)
    ours = bootstrap_places(fits, LEVEL, 0.95, seeds, 1999)
    inside = []
    for k, one in enumerate(seen):
        data = sized_hits(one, "logit")
        if not np.isfinite(wide[k]):
            assert not isinstance(data, FittedCurve) or data.slope_lr <= Z**2
            assert np.isinf(ours[k])
            continue
        bound = cheng_iles_bound(data, 0.9, 0.95, "upper").value
        assert psi_from(bound) == pytest.approx(wide[k], abs=1e-6)
        psi = np.sort(resampled_psi(data, 0.9, 1, 1999)[0] * data.spread + data.centre)
        low, high = psi[1899 - 45], psi[min(1899 + 45, 1998)]  # 4.6 standard errors of a rank
        inside.append(low - 1e-9 <= CENTRE + SPREAD * ours[k] <= high + 1e-9)
    assert all(inside)
    assert len(inside) > 0.5 * SOME


def test_a_resample_without_overlap_counts_with_the_end_of_its_gap():
    """The rule itself, on three resamples laid out by hand: gap, all hit, falling."""
    t = np.array([-1.0, -0.5, 0.5, 1.0])
    hits = np.array([[0, 0, 2, 2], [1, 1, 1, 1], [2, 2, 0, 0], [0, 0, 0, 0]], dtype=float)
    trials = np.array([[1, 1, 2, 2], [1] * 4, [2, 2, 1, 1], [1] * 4], dtype=float)
    found = [place_of(0, t, h, n - h, LEVEL, 0.0, 0.0) for h, n in zip(hits, trials, strict=True)]
    assert found == [(0.5, False), (-1.0, False), (np.inf, False), (np.inf, False)]


def test_cells_are_independent_and_repeat():
    """The same seed gives the same rows, whatever other cells are asked for."""
    cell = TableCell("steep", "uniform", 40)
    first, again = (count_cell(cell, replicates=100, seed=5) for _ in range(2))
    assert first == again
    assert [row.method for row in first] == list(BOUND_NAMES)
    other = count_cell(cell, replicates=100, seed=6)
    assert [r.holding.share for r in other] != [r.holding.share for r in first]
    assert "seed 5" in table_text(first, replicates=100, seed=5, asked=[cell.name])
    assert len(CELLS) == 20


def figures_of(text: str, curve: str, sizes: str, n: int) -> dict[str, float]:
    """Figures of one row of the table in the README, by column."""
    lines = [
        [cell.strip() for cell in line.strip("| \n").split("|")]
        for line in text.splitlines()
        if line.startswith("|")
    ]
    (head,) = (line for line in lines if line[:3] == ["true curve", "sizes", "n"])
    (row,) = (line for line in lines if line[:3] == [curve, sizes, str(n)])
    return {name: float(value) for name, value in zip(head[3:], row[3:], strict=True)}


@pytest.mark.parametrize(
    ("curve", "ladder", "words", "n"),
    [
        ("moderate", "loguniform", "even in log size", 60),
        ("steep", "uniform", "even in size", 120),
        ("moderate", "uniform", "even in size", 30),
    ],
)
def test_the_table_in_the_readme_can_be_rebuilt(curve, ladder, words, n):
    """With another seed and fewer trials, within 4 Monte-Carlo errors of both together."""
    printed = figures_of(README, curve, words, n)
    replicates = 600
    rows = count_cell(TableCell(curve, ladder, n), replicates=replicates, seed=77)
    shares = {row.method: 100.0 * row.holding.share for row in rows}
    names = {"calibrated": "calibrated", "likelihood": "likelihood", "Wald": "wald"}
    for column, method in {**names, "r*": "r_star", "Firth": "firth"}.items():
        share = min(printed[column], 99.5) / 100.0
        error = 100.0 * np.sqrt(share * (1.0 - share) * (1.0 / 2000 + 1.0 / replicates))
        assert shares[method] == pytest.approx(printed[column], abs=4.0 * error), column


def test_the_readme_names_the_command_of_its_table():
    assert re.search(r"qualify pod holds-table --replicates 2000 --seed 1\b", README)
    assert "simulated, if the model is true" in " ".join(README.lower().split())
