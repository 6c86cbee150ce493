"""Compiled loops that let the interpreter go, and work in threads."""

import itertools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar, cast

import numpy as np
from numba import njit

CHUNKS = 8  # pieces of a batch; more than most machines of a reader have cores

Loop = TypeVar("Loop", bound=Callable[..., object])


def fast(loop: Loop) -> Loop:
    """Compile a loop: cached, without the lock of the interpreter, sums in any order."""
    compile_it = njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
    return cast(Loop, compile_it(loop))


@cache
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(CHUNKS, thread_name_prefix="qualify")


def in_threads(work: Callable[[int, int], None], count: int, least: int) -> None:
    """Call `work(first, last)` over pieces of 0..count; fewer than `least` stay in one piece."""
    if count < least:
        work(0, count)
        return
    edges = np.linspace(0, count, CHUNKS + 1).astype(int)
    jobs = [_pool().submit(work, int(a), int(b)) for a, b in itertools.pairwise(edges)]
    for job in jobs:
        job.result()
