"""Compiled loops that let the interpreter go, and work in threads.

Compiled code is kept beside its source, or where numba else may write. Where it may write nowhere
(a home that is read-only), loops are compiled anew in each process: slower to start, same numbers.
"""

import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from typing import Any, TypeVar, cast

import numba
import numpy as np

CHUNKS = 8  # pieces of a batch; more than most machines of a reader have cores

Loop = TypeVar("Loop", bound=Callable[..., object])
_alone = False  # whether pieces are worked through one after another


def njit(*, cache: bool, **options: Any) -> Callable[[Loop], Loop]:
    """Return the decorator of numba of that name, which goes without a cache where it must."""

    def compiled(loop: Loop) -> Loop:
        try:
            return cast(Loop, numba.njit(cache=cache, **options)(loop))
        except RuntimeError as error:
            if not (cache and "cannot cache" in str(error)):
                raise
            return cast(Loop, numba.njit(**options)(loop))

    return compiled


def fast(loop: Loop) -> Loop:
    """Compile a loop: cached, without the lock of the interpreter, sums in any order."""
    return njit(cache=True, nogil=True, fastmath=True, error_model="numpy")(loop)


@cache
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(CHUNKS, thread_name_prefix="qualify")


@contextmanager
def one_thread() -> Iterator[None]:
    """Do without threads for a while, as `do_without_threads`."""
    global _alone
    before, _alone = _alone, True
    try:
        yield
    finally:
        _alone = before


def do_without_threads() -> None:
    """Work through pieces in the caller's thread from now on: for processes that share the cores.

    Pieces are cut as for threads, so that no digit changes.
    """
    global _alone
    _alone = True


def in_threads(work: Callable[[int, int], None], count: int, least: int) -> None:
    """Call `work(first, last)` over pieces of 0..count; fewer than `least` stay in one piece."""
    if count < least:
        work(0, count)
        return
    edges = np.linspace(0, count, CHUNKS + 1).astype(int)
    if _alone:
        for a, b in itertools.pairwise(edges):
            work(int(a), int(b))
        return
    jobs = [_pool().submit(work, int(a), int(b)) for a, b in itertools.pairwise(edges)]
    for job in jobs:
        job.result()
