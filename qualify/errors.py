"""One family of errors for what the tool can't take.

An `InputError` holds every fault found in one input, each with its place, what was found
and what was wanted. The command line prints them and ends with exit code 2; nothing is
written. Evidence gone wrong is no error but a deviation, see `qualify.study.deviations`.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

SHOWN = 5  # of faults that differ in their rows only
ROW = re.compile(r"(?<=\brow )\d+")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input.

    Attributes
    ----------
    place : file, then sheet, row or key, as `plan.toml: criteria.2.limit`.
    found : the value found, in words.
    wanted : what would do.
    """

    place: str
    found: str
    wanted: str

    def __str__(self) -> str:
        return f"{self.place}: {self.found}; {self.wanted}"


class InputError(Exception):
    """An input the tool can't take, with all of its faults."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: Sequence[Fault] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def refuse(place: str, found: str, wanted: str) -> InputError:
    """Return an `InputError` with a single fault, to be raised by the caller."""
    return InputError([Fault(place, found, wanted)])


def told(faults: Iterable[Fault]) -> list[str]:
    """Return a line a fault; of many in one column that want the same, a few and a count."""
    lines, alike = [], {}  # type: list[str], dict[tuple[str, str], list[Fault]]
    for fault in faults:
        group = alike.setdefault((ROW.sub("", fault.place, count=1), fault.wanted), [])
        group.append(fault)
        if len(group) <= SHOWN:
            lines.append(str(fault))
    for group in alike.values():
        more, last = len(group) - SHOWN, group[-1]
        if more > 0:
            which = f"the last of {more} more" if more > 1 else "one more"
            lines.append(f"{last.place}: {which} like those above; {last.wanted}")
    return lines
