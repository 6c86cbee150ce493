"""The table of how often bounds hold, as document and as Markdown."""

from collections.abc import Callable, Sequence
from fnmatch import fnmatchcase
from typing import Any

from qualify.errors import refuse
from qualify.pod.holds import SIMULATIONS
from qualify.pod.holds_table import (
    A50,
    A90,
    CELLS,
    LARGEST,
    RESAMPLES,
    SMALLEST,
    TableCell,
    TableRow,
    count_cell,
)
from qualify.pod.problem import BOUND_NAMES, BoundName
from qualify.study.answers_words import SHORT

Document = dict[str, Any]
LADDER_WORDS = {"uniform": "even in size", "loguniform": "even in log size"}


def cells_named(patterns: Sequence[str]) -> list[TableCell]:
    """Return the cells whose names match any pattern, in the order of the table.

    Raises
    ------
    InputError : a pattern that matches no cell.
    """
    for pattern in patterns:
        if not any(fnmatchcase(cell.name, pattern) for cell in CELLS):
            names = ", ".join(cell.name for cell in CELLS)
            raise refuse("--cells", f"no cell is named '{pattern}'", f"the cells are {names}")
    return [cell for cell in CELLS if any(fnmatchcase(cell.name, p) for p in patterns)]


def holds_rows(
    cells: Sequence[TableCell], *, replicates: int, seed: int, step: Callable[[str], None]
) -> list[TableRow]:
    """Count all cells, telling `step` of each before it begins."""
    rows = []
    for number, cell in enumerate(cells, start=1):
        step(f"  {number} of {len(cells)}: {cell.name}")
        rows += count_cell(cell, replicates=replicates, seed=seed)
    return rows


def table_document(rows: Sequence[TableRow], *, replicates: int, seed: int) -> Document:
    """Return the rows as JSON-ready document."""
    return {
        "simulated": "if the model is true",
        "seed": seed,
        "replicates": replicates,
        "simulations": SIMULATIONS,
        "resamples": RESAMPLES,
        "rows": [
            {
                "cell": row.cell.name,
                "curve": row.cell.curve,
                "sizes": row.cell.ladder,
                "targets": row.cell.targets,
                "bound": row.method,
                "share": row.holding.share,
                "error": row.holding.error,
                "share_given_a_bound": row.holding.share_given,
                "no_bound": row.holding.no_bound,
                "median_over_a90": row.median_ratio,
            }
            for row in rows
        ],
    }


def table_text(
    rows: Sequence[TableRow], *, replicates: int, seed: int, asked: Sequence[str]
) -> str:
    """Return the tables as Markdown, with the command that made them."""
    cells = list(dict.fromkeys(row.cell for row in rows))
    by = {(row.cell, row.method): row for row in rows}
    more = "".join(f" --cells '{pattern}'" for pattern in asked)
    curves = ", ".join(f"{size:g} ({name})" for name, size in A50.items())
    error = 100.0 * (0.95 * 0.05 / replicates) ** 0.5
    parts = [
        "# How often nominal 95 % upper bounds on a90 hold",
        "**Simulated, if the model is true.** True POD: a logit curve in log size with a90 at "
        f"{A90:g} and a50 at {curves}. Each trial has n targets of sizes {SMALLEST:g} to "
        f"{LARGEST:g}, one drawn at random in each of n equal strata, even in size (uniform) or "
        f"in log size (loguniform). {replicates} simulated trials a cell, seed {seed}: standard "
        f"error {error:.1f} at 95 %. {SIMULATIONS} simulated trials behind each calibrated "
        f"statement, {RESAMPLES} resamples behind each bootstrap bound.",
        f"Made by `qualify pod holds-table --replicates {replicates} --seed {seed}{more}`.",
        "## How often the bound holds, in per cent",
        "A trial without a bound claims nothing and counts as one in which the bound holds.",
        _table(cells, lambda c, m: f"{100 * by[c, m].holding.share:.1f}"),
        "## How often it holds where there is a bound, in per cent",
        _table(cells, lambda c, m: _share(by[c, m].holding.share_given)),
        "## Trials without a bound, in per cent",
        _table(cells, lambda c, m: f"{100 * by[c, m].holding.no_bound:.1f}"),
        "## Median bound / true a90",
        "A trial without a bound counts as infinite. Medians of the calibrated, likelihood, r* "
        "and Firth bounds are found by testing: the size that half of the trials reject.",
        _table(cells, lambda c, m: _ratio(by[c, m].median_ratio)),
    ]
    return "\n\n".join(parts) + "\n"


def _table(cells: Sequence[TableCell], told: Callable[[TableCell, BoundName], str]) -> str:
    head = ["true curve", "sizes", "n", *(SHORT[method] for method in BOUND_NAMES)]
    lines = [head, ["---"] * 3 + ["---:"] * len(BOUND_NAMES)]
    lines += [
        [c.curve, LADDER_WORDS[c.ladder], str(c.targets), *(told(c, m) for m in BOUND_NAMES)]
        for c in cells
    ]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _share(value: float | None) -> str:
    return "none" if value is None else f"{100 * value:.1f}"


def _ratio(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f}"
