"""What noise looks like in an image.

Grain, if dense, makes speckle: many small echoes in each resolution cell, whose sum is circular
normal. Its envelope has a Rayleigh distribution, and its receive signals agree over neighbouring
elements. σ is the standard deviation of each of the two components; rms of the envelope = √2 σ.
"""

import math

MEAN_OVER_SIGMA = math.sqrt(math.pi / 2.0)  # of a Rayleigh envelope
RMS_OVER_SIGMA = math.sqrt(2.0)


def false_call_fraction(threshold_over_sigma: float) -> float:
    """Return P(envelope > threshold) at one place: exp(−t²/2σ²)."""
    return math.exp(-0.5 * threshold_over_sigma**2)


def false_call_fraction_at_db(threshold_re_rms_db: float) -> float:
    """Return P(envelope > threshold) for a threshold in dB above the rms: exp(−(t/rms)²)."""
    return math.exp(-(10.0 ** (threshold_re_rms_db / 10.0)))


def threshold_over_sigma(cells: float, probability: float) -> float:
    """Return the threshold that noise passes in any of `cells` with at most `probability`.

    √(2 ln(cells / probability)): the expected number of independent cells above it equals
    `probability`, which bounds the chance of one or more.

    Raises
    ------
    ValueError : unless cells ≥ 1 and probability lies between 0 and 1.
    """
    if not (cells >= 1.0 and 0.0 < probability < 1.0):
        msg = f"found {cells} cells and probability {probability}; give >= 1 and 0 to 1"
        raise ValueError(msg)
    return math.sqrt(2.0 * math.log(cells / probability))


def over_rms_db(over_sigma: float) -> float:
    """Return a level told in σ, in dB above the rms of the envelope."""
    return 20.0 * math.log10(over_sigma / RMS_OVER_SIGMA)


def speckle_receive_coherence(elements: int) -> float:
    """Return E|Σs|² / (N E Σ|s|²) over receivers of speckle after focusing on transmission.

    A ratio of means; the mean of the ratios of single pixels is smaller. Signals of receivers a
    lag apart correlate by 1 − lag/N, the overlap of the transmitting aperture with itself
    shifted: R. Mallart and M. Fink 1991, J. Acoust. Soc. Am. 90, 2718-2727, and 1994, 96,
    3721-3732 (from memory). Summed over all N² pairs: 2/3 + 1/(3N²).
    """
    return 2.0 / 3.0 + 1.0 / (3.0 * elements**2)
