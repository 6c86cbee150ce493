"""Misses of large targets: what the trial shows about a plateau of POD.

A curve that rises to 1 says by its form that large targets are always found. Only targets well
above a90 can show it. The share hit among them is a proportion with an exact bound; all hit of m
gives (1 - confidence)^(1/m) (Clopper and Pearson 1934): 29 of 29 for 0.90 at 95 %.

From 1.5 times a90 on is our own rule, no source. a90 comes from the same data, so that the
number of targets counted is not fixed beforehand: the bound is exact only for a size fixed in
the plan.
"""

from dataclasses import dataclass

from qualify.pod.false_calls import proportion_bounds, smallest_trial
from qualify.pod.hit_miss import HitMissFit

SHOWN = 0.9


@dataclass(frozen=True, slots=True)
class Lapses:
    """Hits and misses of targets of `multiple` times a90 or more.

    Attributes
    ----------
    multiple : of a90.
    from_size : smallest size counted, or None without a90.
    targets, hits : trials from that size on, and hits among them; 0 without a90.
    confidence : of the bound.
    lower_bound : exact one-sided lower bound of the share hit, or None.
    further : how many more such targets, all hit, would show a share above 0.90; 0 when shown,
        None without a90.
    reason : why there is no bound, else None.
    sentences : plain words for the dossier.
    """

    multiple: float
    from_size: float | None
    targets: int
    hits: int
    confidence: float
    lower_bound: float | None
    further: int | None
    reason: str | None
    sentences: tuple[str, ...]


def large_target_lapses(fit: HitMissFit, multiple: float = 1.5, confidence: float = 0.95) -> Lapses:
    """Count hits and misses of large targets, and say what they show about a plateau.

    Parameters
    ----------
    fit : from `fit_hit_miss`.
    multiple : of a90, from which on a target is large; 1 or more.
    confidence : of the one-sided bound, between 0 and 1.

    Raises
    ------
    ValueError : when `multiple` is below 1 or `confidence` not between 0 and 1.
    """
    if not 1.0 <= multiple < float("inf"):
        message = f"multiple {multiple} must be 1 or more"
        raise ValueError(message)
    proportion_bounds(0, 0, confidence)  # refuses a confidence out of range
    if fit.a90 is None:
        reason = "there is no a90, so no size from which on targets are large"
        no_a90 = (f"Large targets can't be judged: {reason}.",)
        return Lapses(multiple, None, 0, 0, confidence, None, None, reason, no_a90)
    least = multiple * fit.a90
    large = [
        (h, t) for a, h, t in zip(fit.sizes, fit.hits_at, fit.trials_at, strict=True) if a >= least
    ]
    hits, targets = sum(h for h, _ in large), sum(t for _, t in large)
    bound = proportion_bounds(hits, targets, confidence)[0]
    shown = bound is not None and bound >= SHOWN
    needed = smallest_trial(targets - hits, SHOWN, confidence)
    further = 0 if shown else needed - targets
    lacking = None if targets else f"no target of {least:.4g} or more was tried"
    said = _sentences(targets, hits, bound, further, (multiple, least, confidence))
    return Lapses(multiple, least, targets, hits, confidence, bound, further, lacking, said)


def _sentences(
    targets: int,
    hits: int,
    bound: float | None,
    further: int,
    asked: tuple[float, float, float],
) -> tuple[str, ...]:
    multiple, least, confidence = asked
    sure = f"at {100 * confidence:g} % confidence"
    where = f"of {multiple:g} times a90 ({least:.4g}) or more"
    rule = (
        f"{multiple:g} times a90 is our own rule, no source; as a90 comes from the same data, the "
        "bound is exact only for a size fixed beforehand."
    )
    if bound is None:
        first = f"No target {where} was tried: nothing is shown about a plateau of POD below 1."
    else:
        first = (
            f"{hits} of {targets} targets {where} were hit: the share hit is at least "
            f"{100 * bound:.1f} % {sure} (exact)."
        )
    if further == 0:
        second = "That excludes a plateau of POD at or below 0.90 among such targets."
    else:
        more = f"{further} more such target{'s' if further > 1 else ''}, all hit, would show it"
        second = f"A plateau of POD at or below 0.90 is not excluded; {more} {sure}."
    missed = targets - hits
    third = (
        f"{missed} of them {'was' if missed == 1 else 'were'} missed: a lapse at such a size has "
        "other causes than size, and each deserves a cause of its own in the record."
    )
    return (first, second, *((third,) if missed else ()), rule)
