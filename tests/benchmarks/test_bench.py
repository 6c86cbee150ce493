"""`qualify bench` runs and prints its ratios; how fast a machine is, is claimed from the command.

No time is asserted: a busy machine would fail it. Run `qualify bench` for the figures.
"""

import json

from typer.testing import CliRunner

from qualify.cli.app import app

TINY = ["bench", "--refits", "400", "--loop", "10", "--simulations", "199", "--replicates", "100"]


def test_bench_runs_and_prints_a_ratio_above_one():
    result = CliRunner().invoke(app, [*TINY, "--json"])
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    assert set(found) == {"machine", "refits", "bound", "holds"}
    assert found["refits"]["ratio"] > 1.0
    assert found["refits"]["loop_refits"] == 10
    # the two engines fitted the same curves: statsmodels GLM stops at a gain of 1e-8
    assert found["refits"]["largest_slope_difference"] < 1e-5
    assert found["bound"]["seconds"] > 0.0
    assert found["bound"]["value"] > 1.5
    assert 0.8 <= found["holds"]["share"] <= 1.0


def test_bench_tells_people_what_was_scaled():
    result = CliRunner().invoke(app, TINY)
    assert result.exit_code == 0, result.output
    assert "scaled from 10 fits" in result.stdout
    assert "ratio: " in result.stdout
    assert "if the model is true" in result.stdout
