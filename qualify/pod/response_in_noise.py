"""Responses that lie within the noise of blanks: noise taken for signal flattens a line.

A response recorded at a target is the larger of signal and noise. Where the floor lies below what
noise reaches, responses down there are partly noise: the line is lifted at small sizes, a90 comes
out too small, and no check of the line need notice. The remedy is a floor at the noise: responses
below it count as at most that.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.signal_response import ResponseFit, fit_response

QUANTILE = 0.95  # of the peaks of blank units; our own choice
RAISED = "a90 with the floor raised there can't be told"


@dataclass(frozen=True, slots=True)
class InNoise:
    """Exact responses within the noise of blanks.

    Attributes
    ----------
    level : 95 % quantile of the peaks of blank units, in the unit of responses.
    responses : uncensored ones at or below it.
    a90, a90_95 : with the floor raised to it; the bound is the likelihood bound. None where the
        threshold lies below that floor, or there is no line then.
    """

    level: float
    responses: int
    a90: float | None
    a90_95: float | None


def in_noise(fit: ResponseFit, peaks: npt.ArrayLike) -> InNoise | None:
    """Return what lies within the noise, None where nothing does.

    peaks : (blank units,), in the unit of responses; the floor where nothing was recorded.
    """
    data = fit.data
    level = float(np.quantile(np.asarray(peaks, dtype=float), QUANTILE))
    within = int(np.sum(data.exact & (data.response <= level)))
    if within == 0:
        return None
    if not fit.threshold > level:
        return InNoise(level, within, None, None)
    ceiling = np.where(np.isfinite(data.high), data.response_of(data.high), np.inf)
    given = np.where(data.code > 0, ceiling, data.response)
    try:
        raised = fit_response(data.size, given, threshold=fit.threshold, floor=level,
                              ceiling=ceiling, targets=data.group, scale=data.scale,
                              axis=data.axis, confidence=fit.confidence,
                              bound="likelihood")  # fmt: skip
    except ValueError:
        return InNoise(level, within, None, None)
    return InNoise(level, within, raised.a90, raised.a90_95)
