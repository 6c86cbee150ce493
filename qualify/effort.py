"""How much is simulated: everything, or a tenth of it for a first look.

A quick run computes the same statistics from fewer simulated trials, and leaves out what only
says how far bounds hold. It is one setting of the process; results tell how many trials they have.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

TENTH = 10
LEFT_OUT = "left out of a quick run"


@dataclass(slots=True)
class _Effort:
    whole: bool = True


_EFFORT = _Effort()


def is_whole() -> bool:
    """Return whether everything is simulated that a study asks for."""
    return _EFFORT.whole


def trials(count: int) -> int:
    """Return how many trials are simulated in place of `count`; of 999 or 1,000 a tenth."""
    odd = count % 2
    return count if _EFFORT.whole else max(99, (count + odd) // TENTH - odd)


@contextmanager
def effort(*, quick: bool) -> Iterator[None]:
    """Simulate a tenth while the block runs, if `quick`."""
    before = _EFFORT.whole
    _EFFORT.whole = not quick
    try:
        yield
    finally:
        _EFFORT.whole = before
