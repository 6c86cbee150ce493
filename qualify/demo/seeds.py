"""The recorded seed of the demonstration and its named random streams."""

import numpy as np

SEED = 20260302


def stream(name: str) -> np.random.Generator:
    """Return the random stream of this name.

    Every draw has a stream of its own name, so that adding a target or a reader moves no
    other draw.
    """
    return np.random.default_rng(np.random.SeedSequence([SEED, *name.encode()]))
