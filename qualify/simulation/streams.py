"""Random streams by name: adding a recording or a target moves no other draw."""

import numpy as np


def stream(seed: int, *name: str) -> np.random.Generator:
    """Return the random stream of this seed and name, the same on every machine."""
    whole = seed.to_bytes(max(4, 4 * -(-seed.bit_length() // 32)), "little")
    words = np.frombuffer("\x1f".join(name).encode(), np.uint8)
    entropy = np.concatenate([np.frombuffer(whole, "<u4"), words]).astype(np.uint32)
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(entropy)))
