"""Design matrices of binary regression: checked, and turned into orthogonal columns.

A design (rows, k) holds one column a coefficient, the constant among them where the model has
one. Every iteration runs on columns that are centred (where there is a constant), orthogonal and
of mean square 1, so that units and offsets of size or depth do not matter; results go back by one
matrix.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

from qualify.pod.links import Array

LEAST_SPREAD = 1e-12  # of a column against its largest value; less is a constant
LEAST_RANK = 1e-10  # smallest singular value against the largest, columns scaled
MAX_DOUBLINGS = 60


@dataclass(frozen=True, slots=True)
class Standardised:
    """A design as orthogonal columns: design @ back = basis.

    Attributes
    ----------
    basis : (rows, k), orthogonal columns of mean square 1.
    back : (k, k); coefficients of the design = back @ coefficients of the basis.
    log_scale : log |det back|: log det of an information matrix in the basis exceeds that in
        the design by twice this.
    """

    basis: Array
    back: Array
    log_scale: float


def standardise(design: npt.ArrayLike) -> Standardised:
    """Turn a design (rows, k) into orthogonal columns.

    Raises
    ------
    ValueError : when the design is not a table of finite numbers, or when its columns are not
        independent: a constant twice, a column that follows from the others, too few rows.
    """
    x = np.asarray(design, dtype=float)
    if x.ndim != 2 or x.size == 0 or not np.all(np.isfinite(x)):
        message = "the design must be a table of finite numbers, one row a reading"
        raise ValueError(message)
    back = _centring(x)
    centred = _columns(x, back)
    rows, k = centred.shape
    spread = np.sqrt((centred**2).mean(axis=0))
    if rows < k or np.any(spread <= LEAST_SPREAD * np.abs(x).max(axis=0)):
        raise ValueError(_dependent(k))
    q, r = np.linalg.qr(centred / spread)
    singular = np.linalg.svd(r, compute_uv=False)
    if singular[-1] <= LEAST_RANK * singular[0]:
        raise ValueError(_dependent(k))
    back = np.sqrt(rows) * (back / spread) @ np.linalg.inv(r)
    return Standardised(q * np.sqrt(rows), back, float(np.linalg.slogdet(back)[1]))


def _dependent(k: int) -> str:
    return (
        f"the {k} columns of the model are not independent in these data: a column is constant "
        "or follows from the others"
    )


def _centring(x: Array) -> Array:
    """Matrix (k, k) that takes the mean off every column but the first constant one."""
    back = np.eye(x.shape[1])
    constant = np.flatnonzero((x == x[0]).all(axis=0) & (x[0] != 0.0))
    if constant.size:
        back[constant[0]] -= x.mean(axis=0) / x[0, constant[0]]
        back[constant[0], constant[0]] = 1.0
    return back


def _columns(x: Array, back: Array) -> Array:
    """Apply a matrix of `_centring` by subtraction, so that no digits of other columns are lost."""
    shift = back - np.eye(len(back))
    (rows,) = np.nonzero(np.abs(shift).any(axis=1))
    centred = x.copy()
    for row in rows:
        centred += x[:, [row]] * shift[row]
    return centred


def checked_counts(hits: npt.ArrayLike, trials: npt.ArrayLike, n: int) -> tuple[Array, Array]:
    """Hits and misses (n,) of a design with n rows.

    Raises
    ------
    ValueError : for lists of another length, missing or broken numbers, hits outside 0..trials.
    """
    h = np.asarray(hits, dtype=float)
    t = np.broadcast_to(np.asarray(trials, dtype=float), h.shape)
    if h.shape != (n,):
        message = f"{h.size} numbers of hits for {n} rows of the design; one a row is wanted"
        raise ValueError(message)
    whole = np.all(np.isfinite(h) & np.isfinite(t)) and np.all((h == np.round(h)) & (t >= 1.0))
    if not whole or np.any(t != np.round(t)) or np.any((h < 0.0) | (h > t)):
        message = "hits must be whole numbers from 0 to trials, and trials whole from 1"
        raise ValueError(message)
    return h, t - h


@dataclass(frozen=True, slots=True)
class Plane:
    """Coefficients b (k,) with row . b = value: origin + directions @ free, free (k - 1,)."""

    origin: Array
    directions: Array

    def free_of(self, values: Array) -> Array:
        """Free parameters (k - 1,) of the point of the plane nearest to `values` (k,)."""
        return np.asarray(self.directions.T @ (values - self.origin))


def plane(row: Array, value: float) -> Plane:
    """Return the plane row . b = value; row (k,) not zero."""
    length = float(np.linalg.norm(row))
    unit = row / length
    complete, _ = np.linalg.qr(unit[:, None], mode="complete")
    return Plane(unit * (value / length), complete[:, 1:])


def onto(values: Array, covariance: Array, row: Array, value: float) -> Array:
    """Move `values` (k,) to row . b = value by the shortest way in the metric of the covariance.

    That is the tangent of a profile likelihood, and so a good start for it.
    """
    along = covariance @ row
    return np.asarray(values + along * ((value - row @ values) / (row @ along)))


def inverse(matrix: Array) -> Array:
    """Inverse (k, k); raises LinAlgError where there is none."""
    return np.asarray(np.linalg.inv(matrix), dtype=float)


def outward_root(residual: Callable[[float], float], start: float, step: float) -> float | None:
    """Root of a residual that is negative at `start`, sought along `step`; None where not found.

    The step is doubled until the residual turns; Brent's method then closes in.
    """
    near, far = start, start + step
    for _ in range(MAX_DOUBLINGS):
        if not np.isfinite(far) or far == near:
            return None
        if residual(far) >= 0.0:
            return float(optimize.brentq(residual, near, far, xtol=1e-300, rtol=1e-15))
        near, far = far, start + 2.0 * (far - start)
    return None
