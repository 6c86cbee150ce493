"""Plain-language notices of a covariate test: what a claim must say about the covariate."""

from dataclasses import dataclass

from qualify.pod.covariate_models import LikelihoodRatio, Value
from qualify.pod.notices import Notice


@dataclass(frozen=True, slots=True)
class SizeAt:
    """Size with POD 0.90 at one value of the covariate.

    Attributes
    ----------
    value : of the covariate.
    a90, upper : estimate and one-sided upper likelihood bound, in the caller's unit, or None.
    reason : in words when there is no upper bound.
    """

    value: Value
    a90: float | None
    upper: float | None
    reason: str | None


def notices_of(
    name: str,
    n: int,
    tests: tuple[LikelihoodRatio, LikelihoodRatio, LikelihoodRatio],
    sizes: tuple[SizeAt, ...],
    worst: SizeAt | None,
    tested: tuple[float, float],
    confidence: float,
) -> tuple[Notice, ...]:
    """All notices that apply; `tests` are of the covariate, of the interaction and of size."""
    effect, interaction, _ = tests
    notices: list[Notice | None] = [_effect(name, n, effect, worst, confidence)]
    if effect.reason is None:
        notices.append(_interaction(name, n, interaction, confidence))
    if sizes and all(one.upper is None and one.a90 is None for one in sizes):
        notices.append(Notice("no_a90", f"No a90 is given: {sizes[0].reason}."))
    notices.append(_beyond(sizes, tested))
    if any(one.upper is not None for one in sizes):
        text = (
            "The bounds are likelihood bounds: in small samples they hold less often than they "
            "say. How much less with a covariate in the model was not simulated."
        )
        notices.append(Notice("bound_holds_less", text))
    if effect.reason is None:
        text = (
            "The tests count every row as independent: one reader, one reading a target. They "
            "do not hold for repeated readings of a target. When several covariates are looked "
            f"at, about {100 * (1 - confidence):.0f} in 100 of those without effect will seem to "
            "have one."
        )
        notices.append(Notice("independent_rows", text))
    return tuple(notice for notice in notices if notice is not None)


def _p(value: float | None) -> str:
    if value is None:
        return "none"
    return "p below 0.0001" if value < 1e-4 else f"p = {value:.2g}"


def _label(name: str, value: Value) -> str:
    return f"{name} {value}" if isinstance(value, str) else f"{name} {value:g}"


def _effect(
    name: str, n: int, test: LikelihoodRatio, worst: SizeAt | None, confidence: float
) -> Notice:
    if test.p_value is None:
        return Notice("not_tested", f"No test of {name}: {test.reason}.")
    if test.p_value <= 1.0 - confidence:
        text = (
            f"POD changes with {name} ({_p(test.p_value)}). One a90 for all values hides that: "
            "a claim must name the values it holds for, and state the worst of them"
        )
        return Notice("covariate_matters", f"{text}{_worst(name, worst, confidence)}.")
    text = (
        f"No effect of {name} is shown ({_p(test.p_value)}), which is no proof that there is "
        f"none: {n} readings may be too few to see it. The bounds on a90 at each value say how "
        "large a90 may still be there."
    )
    return Notice("covariate_not_shown", text)


def _worst(name: str, worst: SizeAt | None, confidence: float) -> str:
    if worst is None:
        return ""
    where = _label(name, worst.value)
    if worst.upper is None:
        return f"; at {where} there is no upper bound on a90: {worst.reason}"
    return (
        f"; of the values asked for that is {where}, with an upper bound on a90 of "
        f"{worst.upper:.4g} at {100 * confidence:g} % confidence"
    )


def _interaction(name: str, n: int, test: LikelihoodRatio, confidence: float) -> Notice | None:
    if test.p_value is None:
        text = f"Whether the slope of the curve changes with {name} can't be tested: {test.reason}."
        return Notice("interaction_not_tested", text)
    if test.p_value > 1.0 - confidence:
        text = (
            f"That the slope of the curve changes with {name} is not shown ({_p(test.p_value)}); "
            f"with {n} readings that is no proof that it stays the same."
        )
        return Notice("interaction_not_shown", text)
    text = (
        f"The slope of the curve changes with {name} ({_p(test.p_value)}). The a90 at its values "
        "come from curves of one slope and may be wrong: fit the values one by one, each with "
        "enough targets of its own."
    )
    return Notice("slope_changes", text)


def _beyond(sizes: tuple[SizeAt, ...], tested: tuple[float, float]) -> Notice | None:
    given = [v for one in sizes for v in (one.a90, one.upper) if v is not None]
    if not given or (min(given) >= tested[0] and max(given) <= tested[1]):
        return None
    text = (
        f"Some a90 or bound lies outside the sizes tested, {tested[0]:.4g} to {tested[1]:.4g}: "
        "read it as 'greater than the largest' or 'at most the smallest', as nothing was tested "
        "there."
    )
    return Notice("extrapolated", text)
