"""`pod response`, `false-calls --response` and the example: what a user gets, and what is refused.

Sizes and responses are invented.
"""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from qualify.cli.app import app

RUN = CliRunner()


def run(*args: object):
    return RUN.invoke(app, [str(a) for a in args])


def table(folder, rows, header="target,size_mm,response", name="t.csv"):
    path = folder / name
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def invented(n=40, slope=1.1, seed=3):
    rng = np.random.default_rng(seed)
    size = np.geomspace(0.5, 8.0, n)
    return size, np.exp(1.6 + slope * np.log(size) + 0.35 * rng.standard_normal(n))


def rows_of(size, response):
    return [f"T{i},{a:.4g},{r:.6g}" for i, (a, r) in enumerate(zip(size, response, strict=True))]


ASK = ("--size", "size_mm", "--response", "response", "--response-unit", "linear")


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    folder = tmp_path_factory.mktemp("example") / "r"
    assert run("example", "responses", "--out", folder).exit_code == 0
    return folder


def test_the_example_tells_pod_at_a_declared_rate(example):
    found = run(
        "pod", "response", example / "responses.csv", "--size", "diameter_mm", "--response",
        "amplitude_db", "--floor", 12, "--ceiling", 30, "--noise", example / "blanks.csv",
        "--noise-floor", 6, "--rate", 0.02, "--at", 0.6, "--json",
    )  # fmt: skip
    assert found.exit_code == 0
    told = json.loads(found.stdout)
    assert told["response_unit"] == "db"
    assert told["scale"] == "log-linear"
    assert told["bound"] == "calibrated"
    calls = told["false_calls"]
    assert told["threshold"] == pytest.approx(calls["declared"]["threshold"], rel=1e-12)
    low, high = calls["declared"]["realised_interval_95"]
    assert low < 0.02 < high
    assert calls["declared"]["safe_threshold"] > calls["declared"]["threshold"]
    # the threshold's uncertainty can only widen the bound, and known it is the bound reported
    at = calls["at_rate"]
    assert at["a90"] == pytest.approx(told["a90"], rel=1e-9)
    assert at["a90_95"] > at["a90_95_threshold_known"]
    error = 6.0 * told["simulation_error"]
    assert at["a90_95_threshold_known"] == pytest.approx(told["a90_95"], abs=error + 0.01)
    pods = [one["pod_at"][0]["pod"] for one in calls["trade"] if one["pod_at"]]
    assert pods == sorted(pods)


def test_missed_targets_are_censored_and_not_left_out(tmp_path):
    size, response = invented()
    rows = [
        f"T{i},{a:.4g}," + (f"{r:.6g}" if r > 5 else "")
        for i, (a, r) in enumerate(zip(size, response, strict=True))
    ]
    path = table(tmp_path, rows)
    told = json.loads(run("pod", "response", path, *ASK, "--threshold", 5, "--json").stdout)
    assert told["missed"] == told["censored"]["left"] == int(np.sum(response <= 5))
    assert told["n"] == 40
    assert "missed" in {n["code"] for n in told["notices"]}
    kept = table(tmp_path, [r for r in rows if not r.endswith(",")], name="kept.csv")
    dropped = json.loads(run("pod", "response", kept, *ASK, "--threshold", 5, "--json").stdout)
    assert dropped["a90"] < told["a90"]  # leaving them out would flatter


def test_several_responses_of_a_target_are_not_more_targets(tmp_path):
    size, response = invented(30)
    rng = np.random.default_rng(1)
    rows = [
        f"T{i},{a:.4g},{r * np.exp(0.05 * rng.standard_normal()):.6g}"
        for i, (a, r) in enumerate(zip(size, response, strict=True))
        for _ in range(3)
    ]
    path = table(tmp_path, rows)
    ask = ("pod", "response", path, *ASK, "--threshold", 12, "--json")
    told = json.loads(run(*ask, "--target", "target").stdout)
    assert (told["n"], told["rows"]) == (30, 90)
    assert told["shared_variance"] > 0.9
    naive = json.loads(run(*ask).stdout)
    assert told["a90_95"] > naive["a90_95"]


LINEAR = ["A,1,4", "B,2,9", "C,3,14", "D,4,16", "E,5,25", "F,6,29", "G,7,33"]
REFUSED = {
    "negative": (["A,1,-3", *LINEAR], ("--threshold", 10), "row 2: response: amplitude -3"),
    "floor above ceiling": (LINEAR, ("--threshold", 10, "--floor", 30, "--ceiling", 20), "floor"),
    "threshold below floor": (LINEAR, ("--threshold", 2, "--floor", 5), "lies below the floor"),
    "threshold at ceiling": (LINEAR, ("--threshold", 30, "--ceiling", 30), "below the ceiling"),
    "no threshold": (LINEAR, (), "no threshold"),
    "rate without noise": (LINEAR, ("--threshold", 10, "--rate", 0.02), "--rate"),
    "text": (["A,1,x", *LINEAR], ("--threshold", 10), "row 2: response: found 'x'"),
    "decimal comma": (['A,1,"3,5"', *LINEAR], ("--threshold", 10), "decimal point"),
    "no floor told": (["A,1,", *LINEAR], ("--threshold", 10), "give the floor"),
    "logarithm of dB": (
        LINEAR, ("--threshold", 10, "--response-unit", "db", "--scale", "log-log"), "logarithm",
    ),
    "coherence": (
        LINEAR, ("--threshold", 0.5, "--response-unit", "coherence", "--scale", "log-logit"),
        "coherence runs from 0 to 1",
    ),
    "coherence without an axis": (
        LINEAR, ("--threshold", 0.5, "--response-unit", "coherence"), "no axis is stated",
    ),
    "two sizes of a target": (
        ["A,1,4", "A,2,5", *LINEAR[1:]], ("--threshold", 10, "--target", "target"), "several sizes",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_bad_input_is_refused_with_its_place(name, tmp_path):
    rows, options, words = REFUSED[name]
    found = run("pod", "response", table(tmp_path, rows), *ASK[:4], *options)
    assert found.exit_code == 2, found.output
    assert words in found.output
    assert "Traceback" not in found.output
    assert str(tmp_path / "t.csv") in found.output or "pod response" in found.output


def test_unit_in_the_name_of_the_column_counts(tmp_path):
    path = table(tmp_path, LINEAR, "target,size_mm,echo_db")
    ask = ("pod", "response", path, "--size", "size_mm", "--response", "echo_db", "--threshold", 10)
    assert run(*ask, "--response-unit", "linear").exit_code == 2
    assert json.loads(run(*ask, "--json").stdout)["response_unit"] == "db"


@pytest.mark.parametrize(
    ("rows", "options", "outcome"),
    [
        (LINEAR, ("--threshold", 50, "--floor", 40), "all_censored"),
        (LINEAR, ("--threshold", 31, "--floor", 30), "too_few"),
        ([f"T{i},{i + 1},{30 - i}" for i in range(12)], ("--threshold", 20), "decreasing"),
    ],
)
def test_without_a_line_there_is_no_number(rows, options, outcome, tmp_path):
    found = run("pod", "response", table(tmp_path, rows), *ASK, *options, "--json")
    told = json.loads(found.stdout)
    assert found.exit_code == 3
    assert told["outcome"] == outcome
    assert {told[k] for k in ("a50", "a90", "a90_95", "a90_lower_95")} == {None}
    assert all(value is None for value in told["bounds"].values())


def test_suspicions_and_saturation_are_told(tmp_path):
    size, _ = invented(40)
    decibels = 30.0 + 8.0 * np.log10(size) + 0.5 * np.sin(np.arange(40.0))
    found = run("pod", "response", table(tmp_path, rows_of(size, decibels)), *ASK,
                "--threshold", 31, "--json")  # fmt: skip
    assert "db_suspected" in {n["code"] for n in json.loads(found.stdout)["notices"]}
    size, response = invented(40)
    found = run("pod", "response", table(tmp_path, rows_of(size, response)), *ASK,
                "--threshold", 9, "--ceiling", 25, "--json")  # fmt: skip
    told = json.loads(found.stdout)
    assert told["censored"]["right"] == int(np.sum(response >= 25))
    assert "above_ceiling" in {n["code"] for n in told["notices"]}


def test_noise_of_blanks_by_three_laws(example):
    ask = ("false-calls", example / "blanks.csv", "--response", "amplitude_db", "--floor", 6,
           "--threshold", 13, "--rate", 0.02, "--json")  # fmt: skip
    rates = {}
    for law in ("gumbel", "gev", "empirical"):
        found = run(*ask, "--law", law)
        assert found.exit_code == 0
        noise = json.loads(found.stdout)["noise"]
        rates[law] = noise["in_use"]
        assert noise["in_use"]["observed_upper_95"] == pytest.approx(1 - 0.05 ** (1 / 82), rel=1e-9)
    assert rates["empirical"]["rate"] == 0.0  # 0 of 82 is no proof of none: rule of zero
    assert rates["empirical"]["upper_95"] == pytest.approx(0.0359, abs=1e-3)
    assert 0.0 < rates["gumbel"]["rate"] < rates["gumbel"]["upper_95"] < 0.05


def test_false_calls_by_length_cause_and_specimen(tmp_path):
    rows = [f"{'yes' if i < 6 else 'no'},0.04,{'geometry' if i < 6 else ''},P{i // 6}"
            for i in range(60)]  # fmt: skip
    path = table(tmp_path, rows, "called,length_m,cause,piece")
    told = json.loads(run("false-calls", path, "--called", "called", "--length", "length_m",
                          "--cause", "cause", "--specimen", "piece", "--json").stdout)  # fmt: skip
    # exact Poisson: upper bound of 6 calls is chi2(.95, 14) / 2 = 11.842 (Garwood 1936; recalled
    # from memory, recomputed with scipy)
    assert told["per_metre"]["upper_95"] == pytest.approx(11.8424 / 2.4, rel=1e-4)
    assert told["causes"]["geometry"]["units_called"] == 6
    assert told["clusters"]["clustered"]
    assert told["clusters"]["p"] < 0.001


def codes(found):
    return {n["code"] for n in json.loads(found.stdout)["notices"]}


def test_responses_within_the_noise_are_told_with_a90_at_a_raised_floor(tmp_path):
    """Where a response is the larger of signal and noise the line is flattened, a90 too small."""
    rng = np.random.default_rng(8)
    size = np.geomspace(0.25, 2.0, 200)
    noise = 8.0 + 1.2 * rng.gumbel(size=200)
    signal = 21.0 + 10.0 * np.log(size) + 2.1 * rng.standard_normal(200)
    path = table(tmp_path, rows_of(size, np.maximum(signal, noise)), "target,size_mm,echo_db")
    peaks = 8.0 + 1.2 * rng.gumbel(size=82)
    blanks = table(tmp_path, [f"{p:.4f}" for p in peaks], "echo_db", "blanks.csv")
    ask = ("pod", "response", path, "--size", "size_mm", "--response", "echo_db", "--threshold", 13,
           "--noise", blanks, "--bound", "likelihood", "--json")  # fmt: skip
    found = run(*ask)
    assert "within_noise" in codes(found)
    level = float(np.quantile(np.round(peaks, 4), 0.95))
    text = next(n["text"] for n in json.loads(found.stdout)["notices"]
                if n["code"] == "within_noise")  # fmt: skip
    assert f"at or below {level:.3g}" in text
    truth = np.exp((13.0 + 1.2815515655 * 2.1 - 21.0) / 10.0)
    raised = run(*ask, "--floor", level)
    assert "within_noise" not in codes(raised)
    flat, mended = (json.loads(one.stdout)["a90"] for one in (found, raised))
    assert flat < 0.97 * truth
    assert mended == pytest.approx(truth, rel=0.05)
    assert f"a90 is {mended:.3g}" in text


def test_a_floor_below_which_no_call_was_written_down_is_doubted(tmp_path):
    size, response = invented()
    rows = [f"T{i},{a:.4g}," + (f"{r:.6g}" if r > 9 else "")
            for i, (a, r) in enumerate(zip(size, response, strict=True))]  # fmt: skip
    path = table(tmp_path, rows)
    ask = ("pod", "response", path, *ASK, "--threshold", 9, "--bound", "likelihood", "--json")
    assert "only_calls" in codes(run(*ask, "--floor", 2))
    assert "only_calls" not in codes(run(*ask))
    below = json.loads(run(*ask, "--floor", 2).stdout)
    right = json.loads(run(*ask).stdout)
    assert below["a90"] != pytest.approx(right["a90"], rel=1e-3)


def test_targets_that_come_again_are_told_first(tmp_path):
    size, response = invented(20)
    path = table(tmp_path, rows_of(np.repeat(size, 2), np.repeat(response, 2) * 1.01))
    rows = path.read_text().splitlines()
    doubled = [r.replace(f"T{i},", f"T{i // 2},", 1) for i, r in enumerate(rows[1:])]
    path = table(tmp_path, doubled)
    found = run("pod", "response", path, *ASK, "--threshold", 12)
    assert "give --target target" in found.output.splitlines()[0]
    told = run("pod", "response", path, *ASK, "--threshold", 12, "--target", "target", "--json")
    assert "unused" not in told.output
    assert json.loads(told.stdout)["n"] == 20


def test_peaks_in_another_unit_than_the_responses_are_refused(example, tmp_path):
    blanks = table(tmp_path, ["3.2", "4.1"] * 20, "peak", "peaks.csv")
    found = run("pod", "response", example / "responses.csv", "--size", "diameter_mm",
                "--response", "amplitude_db", "--threshold", 13, "--floor", 12,
                "--noise", blanks, "--noise-column", "peak")  # fmt: skip
    assert found.exit_code == 2
    assert "its name does not tell the unit" in found.output


def test_a_length_whose_unit_is_not_known_is_refused(tmp_path):
    path = table(tmp_path, ["yes,40", "no,40"], "called,length")
    found = run("false-calls", path, "--called", "called", "--length", "length")
    assert found.exit_code == 2
    assert "its unit is not known" in found.output
    path = table(tmp_path, ["yes,40", "no,40"], "called,length_mm")
    told = run("false-calls", path, "--called", "called", "--length", "length_mm", "--json")
    assert json.loads(told.stdout)["per_metre"]["rate"] == pytest.approx(1 / 0.08)
