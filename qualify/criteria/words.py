"""Words of verdicts: whom a number is of, and a value with its unit."""

ALL_READERS, NEW_READER = "all_readers", "new_reader"
"""Names under which estimates of several readers stand."""


def who(reader: str) -> str:
    """Return whom a number is of, to begin a sentence with."""
    if reader == ALL_READERS:
        return "All readers together"
    if reader == NEW_READER:
        return "A new reader of the class"
    return f"Reader {reader}" if reader != "rule" else "The rule"


def lead(reader: str) -> str:
    """Return the start of a sentence on one reader; empty if it is of none."""
    return f"{who(reader)}: " if reader else ""


def show_value(value: float, unit: str) -> str:
    """Return a value as verdicts print it: per cent, count, ratio, or size with its unit."""
    if unit == "fraction":
        return f"{100 * value:.1f} %"
    if unit == "count":
        return f"{value:.0f}"
    return f"{value:.2f} {unit}" if unit != "ratio" else f"{value:.2f}"
