"""Thresholds from open blanks: what they realise on noise whose law is known."""

import numpy as np
import pytest

from qualify.errors import InputError
from qualify.study.reading_files import _check_thresholds
from qualify.study.reading_plan import ReadingPlan
from qualify.study.thresholds import Blanks, read_thresholds, set_thresholds
from tests.reading.noise_images import COLUMNS, ROWS, image_of, rayleigh

CELLS = COLUMNS * ROWS
SETS = 24  # the same limits were passed with 120, once


def _plan(rate=0.02, method="six_db_drop"):
    return ReadingPlan.model_validate(
        {
            "format": 1,
            "study": "made",
            "provenance": "made for a test",
            "seed": 1,
            "declared_rate": rate,
            "open_blocks": ["one"],
            "smooth_mm": 100.0,
            "reference_z_mm": 20.0,
            "group_x_mm": 0.5,
            "group_z_mm": 0.5,
            "region": {"x_from_mm": -9.5, "x_to_mm": 9.5, "z_from_mm": 5.0, "z_to_mm": 34.0},
            "modes": [{"name": "mode", "size_method": method}],
        }
    )


def _set(seed, count=82, unit="db"):
    rng = np.random.default_rng(seed)
    level = 1e-3 if unit == "db" else 0.1
    images = [image_of(rayleigh(rng, level), unit) for _ in range(count)]
    method = "six_db_drop" if unit == "db" else "coherence_extent"
    return set_thresholds(_plan(method=method), {"mode": Blanks(images, 0)}).modes[0]


def _rate(one):
    """The rate that a threshold realises: 1 - (1 - exp(-t²))^m, t over the true rms (Rayleigh)."""
    over = one.threshold + 60.0 if one.unit == "db" else 20.0 * np.log10(one.threshold / 0.1)
    return 1.0 - (1.0 - np.exp(-(10.0 ** (over / 10.0)))) ** CELLS


@pytest.mark.parametrize("unit", ["db", "coherence"])
def test_thresholds_for_2_per_cent_realise_2_per_cent_and_their_interval_holds(unit):
    """Open sets of 82 blanks; the mean rate within 4 errors of the spread seen, 95 % ± 4 errors.

    Thresholds are rounded up, by at most 0.01 dB or 0.001, so that the mean lies a little below.
    """
    told = [_set(k, unit=unit) for k in range(SETS)]
    rates = np.array([_rate(one) for one in told])
    error = rates.std(ddof=1) / np.sqrt(len(rates))
    assert 0.02 * 0.85 - 4 * error < rates.mean() < 0.0225 + 4 * error
    held = np.mean([one.rate_low <= r <= one.rate_high for one, r in zip(told, rates, strict=True)])
    assert held == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / len(told)))
    thresholds = np.array([one.threshold for one in told])
    errors = np.mean([one.standard_error for one in told])
    assert errors == pytest.approx(thresholds.std(ddof=1), rel=0.6)


def test_a_file_of_thresholds_reads_back_and_is_refused_when_damaged(tmp_path):
    rng = np.random.default_rng(7)
    images = [image_of(rayleigh(rng)) for _ in range(20)]
    made = set_thresholds(_plan(), {"mode": Blanks(images, 2)})
    path = tmp_path / "thresholds.json"
    path.write_bytes(made.bytes())
    assert read_thresholds(path) == made
    assert made.blank_units == 22
    path.write_bytes(made.bytes().replace(b'"threshold"', b'"treshold"'))
    with pytest.raises(InputError, match=r"modes\.1.*treshold|treshold"):
        read_thresholds(path)


def test_too_few_blanks_set_no_threshold():
    with pytest.raises(InputError, match="2 blank units with a control"):
        _set(1, count=2)


def test_a_threshold_of_the_plan_that_is_not_the_one_set_is_refused():
    rng = np.random.default_rng(8)
    images = [image_of(rayleigh(rng)) for _ in range(20)]
    made = set_thresholds(_plan(), {"mode": Blanks(images, 0)})
    one = made.modes[0]

    class Told:
        id, threshold, threshold_unit = "mode", one.threshold, "db"

    class PlanLike:
        modes = (Told(),)

    _check_thresholds(PlanLike(), made)
    Told.threshold = one.threshold + 0.01
    with pytest.raises(InputError, match="set thresholds anew"):
        _check_thresholds(PlanLike(), made)
