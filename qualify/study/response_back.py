"""Numbers of the axis of response back in its unit, and the words that go with a threshold."""

from qualify.pod.noise import NoiseFit
from qualify.pod.responses import ResponseAxis, off_axis
from qualify.pod.threshold import ThresholdChoice


def back(value: float | None, axis: ResponseAxis) -> float | None:
    """Return a value of the axis in the unit of response."""
    return None if value is None else float(off_axis(value, axis))


def error_back(choice: ThresholdChoice, axis: ResponseAxis) -> float | None:
    """Return the standard error of a threshold in the unit of response.

    Half of the way between one error up and one down.
    """
    if choice.threshold is None or choice.standard_error is None:
        return None
    ends = (choice.threshold - choice.standard_error, choice.threshold + choice.standard_error)
    low, high = off_axis(ends, axis)
    return float(0.5 * (high - low))


def choice_notices(choice: ThresholdChoice, fit: NoiseFit, axis: ResponseAxis) -> list[str]:
    """Return the notices of a threshold, with numbers in the unit of response."""
    if axis == "linear" or choice.threshold is None:
        return [notice.text for notice in choice.notices]
    told = []
    for notice in choice.notices:
        text = notice.text
        if notice.code == "extrapolated":
            largest = back(float(fit.peaks[~fit.is_censored].max()), axis)
            text = (
                f"The threshold {back(choice.threshold, axis):.3g} lies beyond the largest of "
                f"{fit.n} peaks, {largest:.3g}: it rests on the law chosen, not on what was seen."
            )
        told.append(text)
    return told
