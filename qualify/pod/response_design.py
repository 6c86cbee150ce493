"""Censored normal regression on any columns: for checks of a line, not for its bounds.

The same concave log-likelihood as in `qualify.pod.response_kernels`, for any number of columns, in
plain numpy. Without censoring it is least squares by a QR decomposition of scaled columns.

Source: Tobin 1958, Econometrica 26, 24-36 (the model); Olsen 1978. Checked in `tests/published`
against R and, uncensored, against certified values of NIST.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.kernels import normal_terms
from qualify.pod.links import Array
from qualify.pod.response_kernels import Codes

LOG_ROOT_TWO_PI = 0.5 * np.log(2.0 * np.pi)
MOST_STEPS = 200


@dataclass(frozen=True, slots=True)
class CensoredFit:
    """Regression of responses that may be censored.

    Attributes
    ----------
    coefficients : (columns,).
    sigma : by maximum likelihood (divisor n where nothing is censored).
    covariance : (columns + 1, columns + 1), with log sigma, inverse OBSERVED information; None
        where sigma is 0.
    log_likelihood : None where sigma is 0.
    residual_sum : of squares, None where a response is censored.
    """

    coefficients: Array
    sigma: float
    covariance: Array | None
    log_likelihood: float | None
    residual_sum: float | None


def fit_censored(design: npt.ArrayLike, y: npt.ArrayLike, code: Codes | None = None) -> CensoredFit:
    """Fit y (rows,), censored where code is -1 (at most y) or 1 (at least y), to columns.

    Parameters
    ----------
    design : (rows, columns), of full rank.
    y : (rows,), responses or limits.
    code : (rows,) or None where nothing is censored.

    Raises
    ------
    ValueError : for fewer exact rows than columns.
    ArithmeticError : when the climb does not settle.
    """
    x, r = np.asarray(design, dtype=float), np.asarray(y, dtype=float)
    kind = np.zeros(r.size, dtype=np.int8) if code is None else np.asarray(code)
    if np.sum(kind == 0) < x.shape[1]:
        message = f"{int(np.sum(kind == 0))} exact rows for {x.shape[1]} columns"
        raise ValueError(message)
    scale = np.sqrt((x**2).mean(axis=0))
    scaled = x / scale
    q, upper = np.linalg.qr(scaled)
    start = np.linalg.solve(upper, q.T @ r)
    left = r - scaled @ start
    start += np.linalg.solve(upper, q.T @ left)  # one refinement
    left = r - scaled @ start
    if not np.any(kind):
        return _least_squares(start, scale, upper, left)
    return _climbed(scaled, scale, r, kind, start, left)


def _least_squares(coefficients: Array, scale: Array, upper: Array, left: Array) -> CensoredFit:
    n, total = left.size, float(left @ left)
    sigma = np.sqrt(total / n)
    if sigma == 0.0:
        return CensoredFit(coefficients / scale, 0.0, None, None, total)
    inverse = np.linalg.inv(upper) / scale[:, None]
    covariance = np.zeros((scale.size + 1, scale.size + 1))
    covariance[:-1, :-1] = sigma**2 * inverse @ inverse.T
    covariance[-1, -1] = 0.5 / n
    height = -n * (np.log(sigma) + LOG_ROOT_TWO_PI + 0.5)
    return CensoredFit(coefficients / scale, float(sigma), covariance, float(height), total)


def _terms(z: Array, code: Codes) -> tuple[float, Array, Array]:
    """Log-likelihood of residuals z, but for log theta, its slopes and its bends (rows,)."""
    height, slope, bend = -0.5 * z**2 - LOG_ROOT_TWO_PI, -z, -np.ones_like(z)
    for i in np.flatnonzero(code):
        side = -1.0 if code[i] > 0 else 1.0
        height[i], slope[i], bend[i] = normal_terms(side * z[i])
        slope[i] *= side
    return float(height.sum()), slope, bend


def _climbed(
    x: Array, scale: Array, y: Array, code: Codes, start: Array, left: Array
) -> CensoredFit:
    exact = int(np.sum(code == 0))
    theta = 1.0 / max(float(np.std(left)), 1e-9)
    at = np.append(start * theta, theta)
    columns = np.column_stack([-x, y])
    height, slope, bend = _terms(columns @ at, code)
    height += exact * np.log(at[-1])
    for _ in range(MOST_STEPS):
        score = columns.T @ slope
        score[-1] += exact / at[-1]
        information = -(columns.T * bend) @ columns
        information[-1, -1] += exact / at[-1] ** 2
        step = np.linalg.solve(information, score)
        gain = float(step @ score)
        factor = 1.0 if at[-1] + step[-1] > 0.1 * at[-1] else -0.9 * at[-1] / step[-1]
        for _halving in range(60):
            new = at + factor * step
            reached, slope, bend = _terms(columns @ new, code)
            reached += exact * np.log(new[-1])
            if reached >= height - 1e-12 * (1.0 + abs(height)):
                break
            factor *= 0.5
        at, height = new, reached
        if gain < 1e-20:
            return _assembled(at, scale, information, height)
    message = "the censored regression did not settle"
    raise ArithmeticError(message)


def _assembled(at: Array, scale: Array, information: Array, height: float) -> CensoredFit:
    theta, k = float(at[-1]), scale.size
    jacobian = np.zeros((k + 1, k + 1))
    jacobian[:k, :k] = np.diag(1.0 / (theta * scale))
    jacobian[:k, k] = -at[:-1] / (theta**2 * scale)
    jacobian[k, k] = -1.0 / theta
    covariance = jacobian @ np.linalg.inv(information) @ jacobian.T
    return CensoredFit(at[:-1] / (theta * scale), 1.0 / theta, covariance, height, None)
