"""Compiled loops work where nothing may be cached, as in a home that is read-only."""

import subprocess
import sys

# numba then finds no place to write to, as it does in such a home; root may write anywhere
NOWHERE = """
import numba.core.caching as caching
impl = getattr(caching, "CacheImpl", None) or caching._CacheImpl
impl._locator_classes = []
import numba

def plain(x):
    return x

try:
    numba.njit(cache=True)(plain)
except RuntimeError as error:
    assert "cannot cache" in str(error)
    print("nowhere")

import qualify.imaging.focus, qualify.pod.hit_miss, qualify.simulation.kernels
from qualify.threads import fast

@fast
def doubled(x):
    return 2.0 * x

print(doubled(1.5))
"""


def test_without_a_place_for_a_cache_loops_are_compiled_all_the_same():
    done = subprocess.run(
        [sys.executable, "-c", NOWHERE], capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.stdout.split() == ["nowhere", "3.0"]
