"""Two runs compared: the second contract of reproducibility.

In one environment the same inputs give the same bytes. On another machine every reported
number must agree within the tolerance declared here for its statistic, and every sentence
must be the same but for the last printed digit of its numbers. Tolerances are relative; they
leave room for another linear-algebra library and another order of summation, and lie far
below the last digit that the dossier prints; a bound that rests on simulation may differ by one
step of its rounding.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

EXACT, CLOSED_FORM, ITERATED = 0.0, 1e-10, 1e-7
SIMULATED = 0.1  # about a step of rounding: a simulated trial on the edge may fall to either side
TOLERANCES: Mapping[str, float] = {
    "count": EXACT,
    "detection_rate": CLOSED_FORM,
    "false_call_rate": CLOSED_FORM,
    "not_examined_fraction": CLOSED_FORM,
    "sizing": CLOSED_FORM,
    "sizing_rmse_": ITERATED,
    "sizing_line": ITERATED,
    "sizing_method_sd": ITERATED,
    "sizing_normality": ITERATED,
    "sizing_spread": ITERATED,
    "sizing_spread_seen": SIMULATED,
    "undersizing_bound": CLOSED_FORM,
    "undersizing_95_95": CLOSED_FORM,
    "largest_undersizing": CLOSED_FORM,
    "smallest": CLOSED_FORM,
    "largest": CLOSED_FORM,
    "a50": ITERATED,
    "a90": ITERATED,
    "a90_95": SIMULATED,
    "a90_lower_95": SIMULATED,
    "a90_95_models": ITERATED,
    "a90_95_firth": ITERATED,
    "a90_95_r_star": ITERATED,
    "a90_95_cheng_iles": ITERATED,
    "a90_95_likelihood": ITERATED,
    "a90_lower_95_likelihood": ITERATED,
    "a90_95_wald": ITERATED,
    "a90_lower_95_wald": ITERATED,
    "pod": ITERATED,
    "a90_ratio_": SIMULATED,
    "a90_ratio_margin": EXACT,
    "mcnemar": CLOSED_FORM,
    "odds_ratio": CLOSED_FORM,
    "rate_difference": CLOSED_FORM,
    "rate_difference_tango": ITERATED,
    "curve_difference": ITERATED,
    "curve_difference_p": SIMULATED,
    "curve_difference_holm_p": SIMULATED,
    "false_call_difference": CLOSED_FORM,
    "holds": SIMULATED,
    "plateau": ITERATED,
    "plateau_p": SIMULATED,
    "curvature_p": SIMULATED,
    "squares_p": SIMULATED,
    "curvature_power": SIMULATED,
    "squares_power": SIMULATED,
    "covariate": ITERATED,
    "model": ITERATED,
    "large_from": ITERATED,
    "response": ITERATED,
    "response_holds": SIMULATED,
    "response_a90_95": SIMULATED,
    "response_a90_lower_95": SIMULATED,
    "response_scatter_p": SIMULATED,
    "response_tail_p": SIMULATED,
    "at_rate": SIMULATED,
    "noise": ITERATED,
    "noise_rate_upper": SIMULATED,
    "noise_realised": SIMULATED,
    "noise_safe": SIMULATED,
    "sensitivity": ITERATED,
    "a90_95_readings_as_targets": ITERATED,
    "a90_95_clustered": ITERATED,
    "a90_typical_target": 1e-4,
    "a90_average_target": 1e-4,
    "target_spread": 1e-4,
    "target_share": ITERATED,
    "reader_spread": ITERATED,
}
"""Relative tolerance by the beginning of a statistic's name; counts (unit `count`) are exact."""
DEFAULT = CLOSED_FORM
ROUNDING = 1e-12  # what is left of an exact zero, in any unit reported
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


@dataclass(frozen=True, slots=True)
class Difference:
    """One disagreement of two results: where, what each says, and the tolerance."""

    place: str
    first: str
    second: str
    tolerance: str


def tolerance_of(statistic: str, unit: str) -> float:
    """Return the declared relative tolerance of a statistic."""
    if unit == "count":
        return EXACT
    fits = [name for name in TOLERANCES if statistic.startswith(name)]
    return TOLERANCES[max(fits, key=len)] if fits else DEFAULT


def compare_results(first: Mapping[str, Any], second: Mapping[str, Any]) -> list[Difference]:
    """Return every disagreement between two `results.json` documents.

    Estimates are compared by id within their tolerance, everything else word for word except
    the last printed digit of numbers in sentences.
    """
    differences = _estimates(first.get("estimates", []), second.get("estimates", []))
    rest = [{k: v for k, v in doc.items() if k != "estimates"} for doc in (first, second)]
    return differences + _walk("", rest[0], rest[1])


def _estimates(
    first: Sequence[Mapping[str, Any]], second: Sequence[Mapping[str, Any]]
) -> list[Difference]:
    left, right = ({e["id"]: e for e in items} for items in (first, second))
    differences = [
        Difference(
            id_, "there" if id_ in left else "absent", "there" if id_ in right else "absent", ""
        )
        for id_ in sorted(left.keys() ^ right.keys())
    ]
    for id_ in left:
        if id_ not in right:
            continue
        one, other = left[id_], right[id_]
        allowed = tolerance_of(one["statistic"], one["unit"])
        if not _agree(one["value"], other["value"], allowed):
            differences.append(
                Difference(id_, repr(one["value"]), repr(other["value"]), f"{allowed:g} relative")
            )
        strip = [{k: v for k, v in e.items() if k != "value"} for e in (one, other)]
        differences += _walk(id_, strip[0], strip[1])
    return differences


def _agree(one: float | None, other: float | None, allowed: float) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= max(allowed * max(abs(one), abs(other)), ROUNDING)


def _walk(place: str, one: Any, other: Any) -> list[Difference]:
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        found = []
        for key in sorted(one.keys() | other.keys()):
            where = f"{place}.{key}" if place else str(key)
            if key not in one or key not in other:
                found.append(Difference(where, _there(key, one), _there(key, other), ""))
            else:
                found += _walk(where, one[key], other[key])
        return found
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [
            d
            for i, pair in enumerate(zip(one, other, strict=True))
            for d in _walk(f"{place}.{i}", *pair)
        ]
    if isinstance(one, str) and isinstance(other, str):
        same = _same_sentence(one, other)
    elif isinstance(one, float) and isinstance(other, float):
        same = _agree(one, other, ITERATED)
    else:
        same = one == other
    return [] if same else [Difference(place, repr(one), repr(other), "the last printed digit")]


def _there(key: str, document: Mapping[str, Any]) -> str:
    return "there" if key in document else "absent"


def _same_sentence(one: str, other: str) -> bool:
    """Whether two sentences agree but for one unit in the last printed digit of numbers."""
    if NUMBER.split(one) != NUMBER.split(other):
        return False
    pairs = zip(NUMBER.findall(one), NUMBER.findall(other), strict=True)
    return all(a == b or _last_digit_apart(a, b) for a, b in pairs)


def _last_digit_apart(one: str, other: str) -> bool:
    if "." not in one or "." not in other:
        return False
    decimals = len(one.split("e")[0].split(".")[1])
    return (
        decimals == len(other.split("e")[0].split(".")[1])
        and abs(float(one) - float(other)) <= 1.001 * 10.0**-decimals
    )
