"""What one mode shows of one target, gathered for a table."""

from dataclasses import dataclass

from qualify.imaging.controls import DeadZone, PositiveControl
from qualify.imaging.coverage import Coverage
from qualify.imaging.grid import Image
from qualify.imaging.quality import SignalToNoise, TargetCoherence

Cell = float | int | str | bool | None
HIDDEN = "{share:.2g} of the samples are clipped: a coherence does not show it"
CUT = "{share:.2g} of the samples are clipped: amplitudes are cut"
NOT_TOLD = "the recording was not examined for clipping"


@dataclass(frozen=True, slots=True)
class ModeQuality:
    """The figures of one mode on one target; None where a question was not asked.

    Attributes
    ----------
    mode, method, unit, signal : as of the image.
    clipped_samples_fraction : of the recording, as found when it was examined; None if not known.
    """

    mode: str
    method: str
    unit: str
    signal: str
    signal_to_noise: SignalToNoise | None
    coherence: TargetCoherence | None
    dead_zone: DeadZone | None
    positive_control: PositiveControl | None
    coverage: Coverage | None
    clipped_samples_fraction: float | None

    def summary(self) -> dict[str, Cell]:
        """Return plain values by name, with a reason beside what is None."""
        out: dict[str, Cell] = {
            "mode": self.mode,
            "method": self.method,
            "signal": self.signal,
            "clipped_samples_fraction": self.clipped_samples_fraction,
        }
        for part in (_of_noise, _of_coherence, _of_controls, _of_coverage):
            out |= part(self)
        return out

    def remarks(self) -> tuple[str, ...]:
        """Return in words what a reader has to know beside the figures."""
        parts = (self.signal_to_noise, self.coherence, self.dead_zone, self.positive_control)
        found = [part.reason for part in parts if part is not None and part.reason]
        if self.dead_zone is not None and self.dead_zone.remark:
            found.append(self.dead_zone.remark)
        if self.coverage is not None:
            shares: dict[str, float] = {}
            for gap in self.coverage.gaps:
                shares[gap.reason] = shares.get(gap.reason, 0.0) + gap.fraction
            found += [
                f"{100 * share:.1f} % of the region not covered: {reason}"
                for reason, share in shares.items()
            ]
        share = self.clipped_samples_fraction
        if share is None:
            found.append(NOT_TOLD)
        elif share > 0.0:
            found.append((HIDDEN if self.unit == "coherence" else CUT).format(share=share))
        return tuple(dict.fromkeys(found))


def mode_quality(
    image: Image,
    *,
    signal_to_noise: SignalToNoise | None = None,
    coherence: TargetCoherence | None = None,
    dead_zone: DeadZone | None = None,
    positive_control: PositiveControl | None = None,
    coverage: Coverage | None = None,
    clipped_samples_fraction: float | None = None,
) -> ModeQuality:
    """Return the figures of one image."""
    return ModeQuality(
        image.mode, image.method, image.unit, image.signal,
        signal_to_noise, coherence, dead_zone, positive_control, coverage,
        clipped_samples_fraction,
    )  # fmt: skip


def _of_noise(quality: ModeQuality) -> dict[str, Cell]:
    found = quality.signal_to_noise
    if found is None:
        return {}
    return {
        "snr_db": found.snr_db,
        "twin_snr_db": found.twin_snr_db,
        "excess_db": found.excess_db,
        "snr_reason": found.reason,
    }


def _of_coherence(quality: ModeQuality) -> dict[str, Cell]:
    found = quality.coherence
    if found is None:
        return {}
    return {
        "coherence": found.peak.value,
        "random_level": found.random_level,
        "random_99": found.random_99,
        "twin_largest_coherence": found.twin_largest,
        "coherence_reason": found.reason,
    }


def _of_controls(quality: ModeQuality) -> dict[str, Cell]:
    out: dict[str, Cell] = {}
    if (zone := quality.dead_zone) is not None:
        out |= {"dead_zone_mm": zone.depth_mm, "dead_zone_reason": zone.reason}
    if (control := quality.positive_control) is not None:
        out |= {
            "control_found": control.found,
            "control_error_mm": control.error_mm,
            "control_limit_mm": control.limit_mm,
            "control_level": control.level,
            "control_least_level": control.least_level,
            "control_reason": control.reason,
        }
    return out


def _of_coverage(quality: ModeQuality) -> dict[str, Cell]:
    found = quality.coverage
    if found is None:
        return {}
    return {"covered_fraction": found.fraction, "coverage_reason": found.reason}
