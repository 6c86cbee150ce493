"""An examination and what the gate says of it, in words for people."""

from collections.abc import Iterator

from qualify.recording.faults import Examination, Figures
from qualify.recording.gate import GateCount, GateLimits, GateResult


def examination_lines(examination: Examination, limits: GateLimits) -> list[str]:
    """Return a line for each figure of an examination."""
    shape = "half" if examination.is_half else "full"
    head = (
        f"{examination.signal}; {examination.elements} elements, {shape} matrix, "
        f"{examination.sample_count} samples; peak {examination.peak:.4g}, "
        f"rms {examination.rms:.3g}"
    )
    if examination.figures is None:
        return [head]
    return [head, *_figures(examination.figures, limits)]


def _figures(figures: Figures, limits: GateLimits) -> Iterator[str]:
    order, levels, wall = figures.order, figures.levels, figures.wall
    pairs, clip, mean = figures.reciprocity, figures.clipping, figures.offset
    yield (
        f"axis order: {order.band_fraction:.3f} of the energy of the loudest stretches lies in the "
        f"probe's band; white noise has {order.white_fraction:.2f}"
    )
    if pairs.residual_db is not None and pairs.noise_db is not None:
        if pairs.residual_db < pairs.noise_db:
            yield f"reciprocity: no difference above the noise, which is {pairs.noise_db:.1f} dB"
        else:
            yield (
                f"reciprocity: residual {pairs.residual_db:.1f} dB; worst element "
                f"{pairs.worst_element}, {pairs.worst_db:.1f} dB"
            )
    limit = "limit not told" if clip.limit is None else f"limit {clip.limit:g}"
    yield (
        f"clipped ({limit}): {clip.samples_fraction:.2g} of the samples, in "
        f"{clip.pairs_fraction:.2g} of the pairs"
    )
    if not levels.reason:
        weakest = min((*levels.transmit_db, *levels.receive_db))
        yield (
            f"elements: lowest {weakest:.1f} dB; dead {_numbers(levels.dead(limits.dead_db))}; "
            f"weak {_numbers(levels.weak(limits.weak_db))}"
        )
    yield f"offset: worst pair {mean.worst_pair[0]}-{mean.worst_pair[1]}, " + (
        f"{mean.worst_fraction:.2g} of the rms"
    )
    if wall.level_db is not None:
        yield (
            f"back wall: expected at {wall.expected_us:.3f} µs, {wall.level_db:.1f} dB above its "
            f"surroundings, coherence {wall.coherence_fraction:.2f}; start time off by "
            f"{wall.start_offset_us:+.3f} µs"
        )


def _numbers(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, numbers)) or "none"


def gate_lines(result: GateResult) -> list[str]:
    """Return what the gate says: the answer, its reasons, and what is not shown."""
    answer = "accepted" if result.accepted else "rejected"
    reasons = [f"  {reason.code.replace('_', ' ')}: {reason.words}" for reason in result.reasons]
    return [f"gate: {answer}", *reasons, *(f"not shown: {part}" for part in result.not_shown)]


def count_line(count: GateCount) -> str:
    """Return the totals of several recordings in one line."""
    reasons = ", ".join(f"{code.replace('_', ' ')} {number}" for code, number in count.by_reason)
    told = f" ({reasons}; a recording may have several)" if reasons else ""
    return f"recordings: {count.accepted} accepted, {count.rejected} rejected{told}"
