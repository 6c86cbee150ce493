"""What a target gives in an image beside what the same box gives without it.

The peak of any box stands some decibels above the rms of the noise, flaw or no flaw: of a hundred
speckles one is high. So a ratio of signal to noise is told only beside that of the same box in the
flaw-free twin: the image of the same mode, probe and grain without the flaw, or of a blank place.
"""

from dataclasses import dataclass

import numpy as np

from qualify.imaging.grid import Image
from qualify.imaging.region import Box, NoiseLevel, Peak, noise_in, peak_in

NO_TWIN = "there is no flaw-free twin, and no box is without a peak"


@dataclass(frozen=True, slots=True)
class SignalToNoise:
    """Peak of a box over the rms of a noise region, and the same without the flaw.

    Attributes
    ----------
    peak, noise, twin_peak, twin_noise : what was read; of the twin None where there is none.
    snr_db, twin_snr_db, excess_db : peak over noise in decibels, of image and twin, and their
        difference; None, all three, where one of the four is missing.
    reason : why they are None, or None.
    """

    peak: Peak
    noise: NoiseLevel
    twin_peak: Peak | None
    twin_noise: NoiseLevel | None
    snr_db: float | None
    twin_snr_db: float | None
    excess_db: float | None
    reason: str | None

    def in_words(self) -> str:
        """Return the ratio, the twin's and the excess; or why there is none."""
        if self.snr_db is None:
            return f"no signal-to-noise ratio: {self.reason}"
        return (
            f"signal to noise {self.snr_db:.1f} dB; the same box without the flaw "
            f"{self.twin_snr_db:.1f} dB; excess {self.excess_db:.1f} dB"
        )


@dataclass(frozen=True, slots=True)
class TargetCoherence:
    """The largest coherence of a box beside what chance and the flaw-free box give.

    Attributes
    ----------
    peak : largest coherence, 0 to 1, and its place.
    random_level, random_99 : mean and 99 % level of one pixel if all phases were random.
    twin_largest : largest coherence of the same box without the flaw, None where not known.
    reason : why something is None, or None.
    """

    peak: Peak
    random_level: float | None
    random_99: float | None
    twin_largest: float | None
    reason: str | None

    def in_words(self) -> str:
        """Return the coherence beside its levels, on a scale from 0 to 1."""
        if self.peak.value is None:
            return f"no coherence: {self.reason}"
        parts = [f"coherence {self.peak.value:.2f}"]
        if self.random_level is not None and self.random_99 is not None:
            parts.append(f"random phases {self.random_level:.2f}, 1 in 100 {self.random_99:.2f}")
        if self.twin_largest is None:
            parts.append(str(self.reason))
        else:
            parts.append(f"largest without the flaw {self.twin_largest:.2f}")
        return "; ".join(parts)


def signal_to_noise(image: Image, twin: Image | None, box: Box, noise_box: Box) -> SignalToNoise:
    """Return the peak of `box` over the rms of `noise_box`, beside the flaw-free twin.

    Each image is judged by its own noise region.

    Raises
    ------
    ValueError : if the boxes meet, if an image is no amplitude, or if the twin is of another mode
        or grid.
    """
    if box.meets(noise_box):
        msg = "the noise region meets the box of the target; keep them apart"
        raise ValueError(msg)
    _check_twin(image, twin)
    peak, noise = peak_in(image, box), noise_in(image, noise_box)
    if twin is None:
        return SignalToNoise(peak, noise, None, None, None, None, None, NO_TWIN)
    twin_peak, twin_noise = peak_in(twin, box), noise_in(twin, noise_box)
    ratio, twin_ratio = _ratio_db(peak, noise), _ratio_db(twin_peak, twin_noise)
    if ratio is None or twin_ratio is None:
        reason = next(
            r for r in (peak.reason, noise.reason, twin_peak.reason, twin_noise.reason) if r
        )
        return SignalToNoise(peak, noise, twin_peak, twin_noise, None, None, None, reason)
    excess = ratio - twin_ratio
    return SignalToNoise(peak, noise, twin_peak, twin_noise, ratio, twin_ratio, excess, None)


def coherence_at_target(image: Image, twin: Image | None, box: Box) -> TargetCoherence:
    """Return the largest coherence of `box` beside random phases and the flaw-free twin.

    Raises
    ------
    ValueError : if the image is no coherence, or if the twin is of another mode or grid.
    """
    if image.unit != "coherence":
        msg = "the image is an amplitude; coherence is read from an image that shows it"
        raise ValueError(msg)
    _check_twin(image, twin)
    peak = peak_in(image, box)
    twin_peak = None if twin is None else peak_in(twin, box)
    largest = None if twin_peak is None else twin_peak.value
    reason = peak.reason or (NO_TWIN if twin_peak is None else twin_peak.reason)
    return TargetCoherence(
        peak,
        image.random_level,
        image.random_99,
        largest,
        reason,
    )


def _ratio_db(peak: Peak, noise: NoiseLevel) -> float | None:
    if peak.value is None or noise.rms_db is None:
        return None
    return peak.value - noise.rms_db


def _check_twin(image: Image, twin: Image | None) -> None:
    if twin is None:
        return
    same = (image.grid, image.mode, image.unit, image.method)
    if same != (twin.grid, twin.mode, twin.unit, twin.method):
        msg = f"the twin of mode '{image.mode}' has another mode, unit or grid ('{twin.mode}')"
        raise ValueError(msg)
    if not np.array_equal(image.covered, twin.covered):
        msg = f"the twin of mode '{image.mode}' covers another region"
        raise ValueError(msg)
