"""False calls per metre, square metre or hour, and what clusters of them do to the bounds.

Calls that fall independently at a constant rate follow Poisson's law; the bounds on their rate are
exact: quantiles of chi-square laws. Source: Garwood 1936, Biometrika 28, 437-442. Where calls
cluster, as in one noisy specimen, these bounds are too narrow: `dispersion` looks for it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.false_calls import proportion_bounds
from qualify.pod.notices import Notice

SIMULATIONS = 9_999
CLUSTERED = 0.05  # p at or below which calls are said to cluster


@dataclass(frozen=True, slots=True)
class CallRate:
    """False calls per unit of exposure; bounds one-sided, each by itself.

    Attributes
    ----------
    calls, exposure, unit, confidence : as given; unit is "m", "m²" or "h".
    rate, lower, upper : per unit of exposure, None where nothing was examined.
    reason : why there is no rate, or None.
    """

    calls: int
    exposure: float
    unit: str
    confidence: float
    rate: float | None
    lower: float | None
    upper: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class Dispersion:
    """How false calls are spread over specimens.

    Attributes
    ----------
    calls, exposures : of each specimen, as given.
    index : index of dispersion, near 1 if calls fall independently at one rate; None with fewer
        than two specimens or calls.
    p : share of random ways to spread the same calls whose index is as large.
    specimens_called : specimens with any call.
    share_lower, share_upper : exact one-sided 95 % bounds of the share of specimens with any call:
        they hold for like specimens of like exposure, however calls cluster in a specimen.
    simulations, seed : behind p.
    reason : why there is no index, or None.
    notices : what clusters do to the bound, with the counts.
    """

    calls: tuple[int, ...]
    exposures: tuple[float, ...]
    index: float | None
    p: float | None
    specimens_called: int
    share_lower: float | None
    share_upper: float | None
    simulations: int
    seed: int
    reason: str | None
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True)
class CellsRate:
    """False-call rate of several cells searched together, with the same in words."""

    rate_per_cell: float
    cells: int
    rate: float
    expected_calls: float
    text: str


def _check_fraction(name: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        message = f"{name} {value} must lie between 0 and 1, ends excluded"
        raise ValueError(message)


def call_rate(calls: int, exposure: float, unit: str = "m", confidence: float = 0.95) -> CallRate:
    """Rate of false calls with exact Poisson bounds.

    Parameters
    ----------
    calls : on blank material.
    exposure : length, area or time examined, in `unit`.
    unit : for words only.
    confidence : of each bound. With no calls the upper one is -log(1 - confidence)/exposure.

    Raises
    ------
    ValueError : for negative calls or exposure, calls without exposure, confidence outside 0..1.
    """
    _check_fraction("confidence", confidence)
    if calls < 0 or not (np.isfinite(exposure) and exposure >= 0.0) or (calls and not exposure):
        message = (
            f"{calls} calls in {exposure:g} {unit}: both must be 0 or more, calls need exposure"
        )
        raise ValueError(message)
    if exposure == 0.0:
        return CallRate(calls, exposure, unit, confidence, None, None, None,
                        "no blank material was examined")  # fmt: skip
    # chi-square with 2k degrees of freedom is twice a gamma law of shape k
    lower = float(special.gammaincinv(calls, 1.0 - confidence)) if calls else 0.0
    upper = float(special.gammaincinv(calls + 1, confidence))
    return CallRate(calls, exposure, unit, confidence, calls / exposure, lower / exposure,
                    upper / exposure, None)  # fmt: skip


def exposure_for_zero(rate: float, confidence: float = 0.95) -> float:
    """Exposure that, with no call in it, shows a rate at or below `rate` at `confidence`.

    Raises
    ------
    ValueError : for a rate that is not above 0, confidence outside 0..1.
    """
    _check_fraction("confidence", confidence)
    if not rate > 0.0:
        message = f"rate {rate} must be above 0"
        raise ValueError(message)
    return float(-np.log1p(-confidence) / rate)


def units_for_zero(rate: float, confidence: float = 0.95) -> int:
    """Fewest blank units that, none called, show a rate at or below `rate` at `confidence`.

    Raises
    ------
    ValueError : for a rate or confidence outside 0..1.
    """
    _check_fraction("rate", rate)
    _check_fraction("confidence", confidence)
    return int(np.ceil(np.log1p(-confidence) / np.log1p(-rate) - 1e-12))


def _checked_specimens(
    calls: npt.ArrayLike, exposures: npt.ArrayLike | None
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    given = np.asarray(calls, dtype=float)
    e = np.ones(given.shape) if exposures is None else np.asarray(exposures, dtype=float)
    if given.ndim != 1 or given.size == 0 or e.shape != given.shape:
        message = f"{given.size} counts of calls and {e.size} exposures; give one for each specimen"
        raise ValueError(message)
    if not (np.all(given >= 0.0) and np.all(given % 1.0 == 0.0)):
        message = "calls must be whole numbers of 0 or more"
        raise ValueError(message)
    if not (np.all(e > 0.0) and np.all(np.isfinite(e))):
        message = "every exposure must be a finite number above 0"
        raise ValueError(message)
    return given.astype(np.int64), e


def dispersion(
    calls: npt.ArrayLike,
    exposures: npt.ArrayLike | None = None,
    *,
    seed: int,
    simulations: int = SIMULATIONS,
) -> Dispersion:
    """Look for clusters of false calls in specimens.

    Index: sum of (calls - expected)²/expected over specimens, by their number less 1, expected in
    proportion to exposure. Its p is conditional on all calls: they are thrown on the specimens
    again and again (multinomial), p = (count + 1)/(simulations + 1).

    Source: Fisher 1925, Statistical Methods for Research Workers, section 16 (from memory).

    Parameters
    ----------
    calls, exposures : (specimens,); exposures None: all alike.
    seed, simulations : of the random numbers.

    Raises
    ------
    ValueError : for lists that do not fit, negative or broken counts, exposures not above 0.
    """
    k, e = _checked_specimens(calls, exposures)
    total, called = int(k.sum()), int(np.sum(k > 0))
    lower, upper = proportion_bounds(called, k.size)
    index = p = reason = None
    if k.size < 2 or total < 2:
        reason = f"clusters need two specimens and two calls; here {k.size} and {total}"
    else:
        share = e / e.sum()
        index = _index(k, total * share)
        rng = np.random.Generator(
            np.random.PCG64(np.random.SeedSequence([seed, *b"noise", *b"dispersion"]))
        )
        again = _indices(rng.multinomial(total, share, size=simulations), total * share)
        p = float((np.sum(again >= index * (1.0 - 1e-12)) + 1) / (simulations + 1))
    return Dispersion(tuple(k.tolist()), tuple(e.tolist()), index, p, called, lower, upper,
                      simulations, seed, reason, _cluster_notices(k, p, upper))  # fmt: skip


def _indices(
    calls: npt.NDArray[np.int64], expected: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    return np.asarray(((calls - expected) ** 2 / expected).sum(axis=-1) / (expected.size - 1))


def _index(calls: npt.NDArray[np.int64], expected: npt.NDArray[np.float64]) -> float:
    return float(_indices(calls, expected))


def _cluster_notices(
    calls: npt.NDArray[np.int64], p: float | None, upper: float | None
) -> tuple[Notice, ...]:
    if p is None or p > CLUSTERED:
        return ()
    counts = ", ".join(str(count) for count in calls.tolist())
    text = (
        f"False calls cluster by specimen (p = {p:.2g}; calls a specimen: {counts}). Bounds on the "
        "rate per unit, per length or per time take calls as independent: the upper one is too "
        f"small here. Of {calls.size} specimens {int(np.sum(calls > 0))} had a call; the share "
        f"with any call is at most {100 * (upper or 0.0):.3g} % at 95 % confidence, for like "
        "specimens."
    )
    return (Notice("calls_cluster", text),)


def rate_of_cells(rate_per_cell: float, cells: int) -> CellsRate:
    """Chance of at least one false call in several cells, 1 - (1 - p)^m.

    Raises
    ------
    ValueError : for a rate outside 0..1 (ends allowed) or fewer than one cell.
    """
    if not 0.0 <= rate_per_cell <= 1.0 or cells < 1:
        message = f"a rate of {rate_per_cell} in {cells} cells: rate from 0 to 1, cells from 1 on"
        raise ValueError(message)
    with np.errstate(divide="ignore"):
        rate = float(-np.expm1(cells * np.log1p(-rate_per_cell)))
    text = (
        f"At {100 * rate_per_cell:.3g} % a cell, {cells} independent cells hold at least one false "
        f"call in {100 * rate:.3g} % of cases, {rate_per_cell * cells:.3g} calls on average. Cells "
        "that share noise, such as neighbours, hold one less often, and several at once."
    )
    return CellsRate(rate_per_cell, cells, rate, rate_per_cell * cells, text)
