"""Random streams by name: adding a recording or a target moves no other draw."""

import numpy as np


def stream(seed: int, *name: str) -> np.random.Generator:
    """Return the random stream of this seed and name, the same on every machine."""
    words = "\x1f".join(name).encode()
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, *words])))
