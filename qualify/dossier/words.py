"""Numbers and names as they are printed; what does not exist is printed as words."""

import math
from xml.sax.saxutils import escape

from qualify.criteria.estimate import Estimate

KINDS = {
    "side_drilled_hole": "side-drilled holes",
    "notch": "notches",
    "flat_bottomed_hole": "flat-bottomed holes",
    "embedded_slot": "embedded slots",
    "pore_cluster": "pore clusters",
}
OUTCOMES = {
    "fitted": "curve fitted",
    "separated": "no curve: every miss smaller than every hit",
    "quasi_separated": "no curve: misses and hits meet at one size",
    "decreasing": "no curve: detection does not rise with size",
    "all_hit": "no curve: all found",
    "all_missed": "no curve: none found",
    "too_few": "no curve: too few targets",
}
MODE_STATUS = {"accepted": "in use", "candidate": "to be shown"}
RESPONSE_UNITS = {"db": "dB", "linear": "amplitude", "coherence": "coherence"}
COVARIATE_UNITS = {"depth": " mm", "tilt": "°"}
ROLES = {
    "owner": "owner",
    "integrity_engineer": "integrity engineer",
    "developer": "developer of the mode",
    "block_maker": "maker of the blocks",
    "metrologist": "metrologist",
    "truth_custodian": "custodian of the truth",
    "invigilator": "invigilator",
    "reader": "reader",
    "statistician": "statistician",
    "reviewer": "reviewer",
}
MATCHES = {
    "hit": "hit",
    "false_call_blank": "blank unit",
    "false_call_flawed": "flawed unit, off target",
    "false_call_outside": "outside all units",
    "corrected": "withdrawn by its reader",
}


STAR = "* lies outside the sizes tested: read off a curve where nothing was tested, and no claim."


def clean(text: object) -> str:
    """Return text for a paragraph: markup escaped, control characters as spaces."""
    return escape("".join(c if c.isprintable() else " " for c in str(text)))


def mm(value: float | None) -> str:
    """Return a size in millimetres to two decimals, without its unit."""
    return "none" if value is None else f"{value:.2f}".replace("-", "−")


def signed(value: float | None) -> str:
    """Return a signed size in millimetres to two decimals."""
    return "none" if value is None else f"{value:+.2f}".replace("-", "−")


def tenth(value: float | None) -> str:
    """Return a place or an angle to one decimal, a dash where there is none."""
    if value is None or math.isnan(value):
        return "–"
    text = f"{value:.1f}".replace("-", "−")
    return "0.0" if text == "−0.0" else text


def general(value: float) -> str:
    """Return a number as short as it goes."""
    return f"{value:g}".replace("-", "−")


def percent(fraction: float | None) -> str:
    """Return a fraction as percentage to one decimal."""
    return "none" if fraction is None else f"{100 * fraction:.1f} %"


def whole_percent(fraction: float | None) -> str:
    """Return a fraction as percentage without decimals."""
    return "none" if fraction is None else f"{100 * fraction:.0f} %"


def share_pm(share: float, error: float) -> str:
    """Return a share with the error of its simulation, both as percentages."""
    return f"{100 * share:.1f} ± {100 * error:.1f} %"


def p_value(value: float | None) -> str:
    """Return a p value to three decimals."""
    if value is None:
        return "none"
    return "< 0.001" if value < 5e-4 else f"{value:.3f}"


def rough(value: float | None) -> str:
    """Return an error to two significant figures."""
    return "none" if value is None else f"{float(f'{value:.2g}'):g}"


def plain(value: float | None) -> str:
    """Return a parameter of a curve to four significant figures."""
    return "none" if value is None else f"{value:.4g}".replace("-", "−")


def whole(value: float | None) -> str:
    """Return a count."""
    return "none" if value is None else f"{value:.0f}"


def size_cell(estimate: Estimate | None) -> str:
    """Return a size for a table: the value, * where it lies outside the tested sizes."""
    if estimate is None or estimate.value is None:
        return "none"
    mark = "*" if estimate.in_range is False else ""
    return f"{mm(estimate.value)}{mark}"


def size_beside(size: float | None, tested: tuple[float, float]) -> str:
    """Return a size for a table, * where it lies outside the sizes tested."""
    low, high = tested
    return mm(size) + ("*" if size is not None and not low <= size <= high else "")


def kind_words(kind: str) -> str:
    """Return a kind of target in words, plural."""
    return KINDS.get(kind, kind.replace("_", " "))


def listed(items: list[str] | tuple[str, ...], most: int = 8) -> str:
    """Return a list in words, cut after `most` with the number left out."""
    if len(items) <= most:
        return ", ".join(items)
    return f"{', '.join(items[:most])} and {len(items) - most} more"


def sentence(text: str) -> str:
    """Return text with a capital at its start and a full stop at its end."""
    stripped = text.strip()
    if not stripped:
        return ""
    return stripped[0].upper() + stripped[1:] + ("" if stripped.endswith((".", "!", "?")) else ".")
