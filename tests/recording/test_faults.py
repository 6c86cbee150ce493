"""Each fault planted in a good recording at a declared size is found; on the good one none is.

The good recordings: two points and a back wall, noise 34 dB below the peak of the wall.
"""

from dataclasses import replace

import numpy as np
import pytest

from qualify.recording.faults import examine
from qualify.recording.gate import GateLimits, count_gate, gate
from qualify.recording.pair_order import column_order
from qualify.recording.points import pulse_sigma_us, record_points
from qualify.recording.probe import Standoff
from qualify.recording.record import Provenance, Recording, half_matrix
from qualify.recording.words import count_line, examination_lines, gate_lines
from tests.recording.made import CONTACT, PROBE, THICK, walled

WATER = Standoff(kind="water", longitudinal_m_per_s=1480.0, height_mm=10.0, angle_deg=2.0)
GOOD = walled()


def with_samples(change, recording: Recording = GOOD) -> Recording:
    samples = recording.samples.copy()
    return replace(recording, samples=np.ascontiguousarray(change(samples)))


def codes(recording: Recording, limits: GateLimits | None = None) -> list[str]:
    return [reason.code for reason in gate(examine(recording), limits).reasons]


def noise(shape, size: float = 0.02) -> np.ndarray:
    return size * np.random.default_rng(9).standard_normal(shape, np.float32)


def grainy(**told) -> Recording:
    """300 weak points of random place and strength in place of the two."""
    rng = np.random.default_rng(5)
    places = np.column_stack([rng.uniform(-15, 15, 300), rng.uniform(1, 33, 300)])
    return walled(places=places, strengths=0.03 * rng.standard_normal(300), noise=0.005, **told)


@pytest.mark.parametrize(
    "good",
    [
        GOOD,
        walled(full=False),
        walled(noise=0.0),
        walled(coupling=WATER, samples=1600),
        walled(coupling=WATER, samples=1600, full=False),
        walled(noise=0.1, seed=3),
        replace(GOOD, full_scale=1.6),
        grainy(),
        grainy(full=False),
    ],
    ids=[
        "full",
        "half",
        "no noise",
        "water",
        "water half",
        "noise 20 dB down",
        "full scale",
        "grain",
        "grain half",
    ],
)
def test_nothing_is_found_on_good_recordings(good):
    examination = examine(good)
    assert gate(examination).reasons == ()
    assert examination.figures.wall.start_offset_us == pytest.approx(0.0, abs=0.01)


def dead(samples, element=9, size=0.02):
    samples[element], samples[:, element] = noise((32, 800), size), noise((32, 800), size)
    return samples


def dead_receiver(samples):
    samples[:, 9] = noise((32, 800))
    return samples


def dead_block(samples):
    """A connector off: eight neighbours dead."""
    for element in range(8, 16):
        dead(samples, element)
    return samples


def weaker(samples, elements, db):
    for element in elements:
        samples[element] *= 10 ** (db / 20)
        samples[:, element] *= 10 ** (db / 20)
    return samples


def swapped_receivers(samples):
    samples[:, [5, 6]] = samples[:, [6, 5]]
    return samples


def clipped(samples):
    return np.clip(samples, -0.4, 0.4)


def one_offset(samples):
    samples[3, 7] += 0.05
    return samples


def no_wall() -> Recording:
    return walled(wall=0.0)


PLANTED = {
    "dead element": (lambda: with_samples(dead), {"dead_elements"}),
    "dead receiver": (lambda: with_samples(dead_receiver), {"dead_elements", "reciprocity"}),
    "dead element, noise 20 dB down": (
        lambda: with_samples(lambda s: dead(s, size=0.1), walled(noise=0.1)), {"dead_elements"},
    ),
    "dead connector": (lambda: with_samples(dead_block), {"dead_elements"}),
    "weak elements, 8 dB": (
        lambda: with_samples(lambda s: weaker(s, (4, 15, 27), -8.0)), {"weak_elements"},
    ),
    "receive channels swapped": (lambda: with_samples(swapped_receivers), {"reciprocity"}),
    "one receiver at half gain": (
        lambda: with_samples(lambda s: s * np.where(np.arange(32) == 9, 0.5, 1)[None, :, None]
                             .astype(np.float32)),
        {"reciprocity"},
    ),
    "clipped, limit not told": (lambda: with_samples(clipped), {"clipping"}),
    "clipped, limit told": (
        lambda: replace(with_samples(clipped), full_scale=0.4), {"clipping"},
    ),
    "offset of one pair": (lambda: with_samples(one_offset), {"offset"}),
    "no back wall": (no_wall, {"back_wall"}),
    "no back wall, no noise": (lambda: walled(wall=0.0, noise=0.0), {"back_wall"}),
    "points at the depth of the wall": (
        lambda: walled(wall=0.0, places=((0.0, 30.0),)), {"back_wall"},
    ),
    "start 1 µs late": (lambda: replace(GOOD, start_us=1.0), {"start_time"}),
    "start 1 µs early": (lambda: replace(GOOD, start_us=-1.0), {"start_time"}),
    "start 20 µs late": (lambda: replace(GOOD, start_us=20.0), {"back_wall"}),
    "window ends before the wall": (
        lambda: with_samples(lambda s: s[:, :, :480]), {"back_wall"},
    ),
    "pairs by column": (
        lambda: replace(walled(full=False), samples=walled(full=False).samples[
            np.argsort(column_order(32))]),
        {"axis_order"},
    ),
    "sampling told ten times too high": (
        lambda: replace(GOOD, sampling_mhz=500.0, medium=THICK.model_copy(
            update={"thickness_mm": None})),
        {"axis_order"},
    ),
    "noise only": (
        lambda: replace(GOOD, samples=noise((32, 32, 800), 1.0)), {"axis_order", "back_wall"},
    ),
}  # fmt: skip

FOLLOWS = {  # what a fault breaks beside what it was planted for
    "pairs by column": {"back_wall"},
    "sampling told ten times too high": {"dead_elements", "reciprocity"},
    "noise only": {"dead_elements", "weak_elements", "reciprocity"},
}


@pytest.mark.parametrize("what", PLANTED)
def test_a_planted_fault_is_found(what):
    make, wanted = PLANTED[what]
    found = set(codes(make()))
    assert wanted <= found
    assert found - wanted <= FOLLOWS.get(what, set()), "no other fault is told"


@pytest.mark.parametrize(
    "harmless",
    [
        lambda s: weaker(s, (4,), -8.0),
        lambda s: weaker(s, (4, 15, 27), -4.0),
        lambda s: s * np.hanning(64)[16:48, None, None].astype(np.float32)
        * np.hanning(64)[None, 16:48, None].astype(np.float32),
        lambda s: s + np.float32(0.01),
        lambda s: -s,
        lambda s: 1e-6 * s,
        lambda s: s.transpose(1, 0, 2),
    ],
    ids=["one weak", "4 dB", "tapered", "small offset", "turned", "small", "transposed"],
)  # fmt: skip
def test_what_lies_within_the_limits_is_accepted(harmless):
    assert codes(with_samples(harmless)) == []


def test_an_array_as_long_as_the_recording_tells_time_by_the_band():
    """As many samples as elements: only the spectrum can tell the axes apart."""
    short = walled(samples=32, start_us=9.9, noise=0.01)
    short = replace(short, medium=THICK.model_copy(update={"thickness_mm": None}))
    assert codes(short) == []
    turned = with_samples(lambda s: s.transpose(2, 1, 0), short)
    order = examine(turned).figures.order
    assert codes(turned)[0] == "axis_order"
    assert order.other_axis == 1
    assert order.other_band_fraction > 0.98 > order.band_fraction


def test_half_a_matrix_of_noise_shows_no_order_of_its_pairs():
    half = walled(full=False)
    result = gate(examine(replace(half, samples=noise(half.samples.shape, 1.0))))
    assert "order of pairs: neighbouring pairs are not alike in either order" in result.not_shown
    assert not any(part.startswith("order of pairs") for part in gate(examine(half)).not_shown)


@pytest.mark.parametrize("elements", [16, 32, 64])
@pytest.mark.parametrize(
    ("order", "words"),
    [(np.argsort, "the pairs seem to come by column"), (np.array, "the pairs seem to come by row")],
    ids=["by column told by row", "by row told by column"],
)
def test_half_a_matrix_in_the_wrong_order_is_rejected_without_a_wall(elements, order, words):
    """Two points in noise, no thickness: both ways to tell the order of pairs wrongly."""
    probe = PROBE.model_copy(update={"elements": elements})
    right = record_points(probe, [[-3.0, 15.0], [4.0, 22.0]], 0.3, samples=700)
    right = replace(right, samples=right.samples + noise(right.samples.shape))
    assert gate(examine(right)).accepted
    wrong = replace(right, samples=right.samples[order(column_order(elements))])
    (reason,) = [r for r in gate(examine(wrong)).reasons if r.code == "axis_order"]
    assert reason.words.startswith(words)


def test_the_order_of_few_pairs_is_not_told():
    """4 elements, 10 pairs: one order looks like the other, which is said and not judged."""
    probe = PROBE.model_copy(update={"elements": 4})
    for depth in (12.0, 15.0, 20.0):
        few = record_points(probe, [[0.0, depth]], 0.3, samples=700)
        result = gate(examine(replace(few, samples=few.samples + noise(few.samples.shape))))
        assert "axis_order" not in [reason.code for reason in result.reasons]
        assert any(part.startswith("order of pairs: ") for part in result.not_shown)
    # 8 elements, two points: alike in both orders, by less than would tell them apart
    probe = PROBE.model_copy(update={"elements": 8})
    more = record_points(probe, [[-3.0, 15.0], [4.0, 22.0]], 0.3, samples=700)
    (told,) = [
        part
        for part in gate(
            examine(replace(more, samples=more.samples + noise(more.samples.shape)))
        ).not_shown
        if part.startswith("order of pairs: ")
    ]
    assert "alike to 0.68 as told, and to 0.52 in the other order" in told


# closed forms of the figures


def test_half_gain_leaves_a_quarter_of_the_power():
    """A receiver at gain g: residual (1−g)² of the power in its 31 pairs, of 31·32/2 in all."""
    clean = walled(noise=0.0)
    spoiled = with_samples(
        lambda s: s * np.where(np.arange(32) == 9, 0.5, 1.0)[None, :, None].astype(np.float32),
        clean,
    )
    found = examine(spoiled).figures.reciprocity
    assert found.worst_element == 10
    assert found.worst_db == pytest.approx(10 * np.log10(0.25), abs=0.1)
    assert found.residual_db == pytest.approx(10 * np.log10(0.25 * 2 / 32), abs=0.2)
    assert examine(clean).figures.reciprocity.residual_db == -120.0


def test_the_noise_of_reciprocity_is_that_of_two_signals():
    """White noise of rms σ, a share b of it in the band: the difference has 2σ²b; the example's
    band of 1.5 to 8.5 MHz of 25 gives b = 0.28. Over the power of the signals as measured."""
    spoiled = walled(places=((0.0, 60.0),))  # nothing beside the wall, so that the rest is noise
    found = examine(spoiled).figures.reciprocity
    clean = examine(walled(places=((0.0, 60.0),), noise=0.0)).figures
    # mean power of the wall over the 58 samples around it: its energy over their duration
    sigma = pulse_sigma_us(5.0, 0.7)
    power = 0.5 * sigma * np.sqrt(np.pi) / (58 / 50.0)
    noise_power = 0.02**2 * 0.28
    wanted = 10 * np.log10(2 * noise_power / (power + noise_power))
    assert found.noise_db == pytest.approx(wanted, abs=0.15)
    assert found.residual_db < -35.0
    assert clean.reciprocity.noise_db == -120.0


@pytest.mark.parametrize("db", [-3.0, -10.0])
def test_a_weak_element_is_as_weak_as_it_was_made(db):
    """Each pair of it with another holds its gain once; the others lose a 32nd of it at most."""
    rest_db = -10 * np.log10((30 + 10 ** (db / 10)) / 31)
    spoiled = with_samples(lambda s: weaker(s, (11,), db), walled(noise=0.0))
    levels = examine(spoiled).figures.levels
    assert levels.transmit_beside_db[11] == pytest.approx(db + rest_db, abs=0.1)
    assert levels.receive_beside_db[11] == pytest.approx(db + rest_db, abs=0.1)
    assert max(np.abs(np.delete(levels.transmit_beside_db, 11))) < 0.3


def test_ring_down_hides_no_dead_element():
    """Ring-down of every element with itself, 20 dB above the wall, of the dead one too."""
    time = np.arange(800) / 50.0
    ringing = (10.0 * np.exp(-time / 0.5) * np.cos(2 * np.pi * 5.0 * time)).astype(np.float32)

    def rung(samples):
        samples[np.arange(32), np.arange(32)] += ringing
        return samples

    assert codes(with_samples(rung)) == []
    assert codes(with_samples(lambda s: rung(dead(s)))) == ["dead_elements"]


def test_transmit_and_receive_are_told_apart_in_a_full_matrix_only():
    full = with_samples(dead_receiver)
    levels = examine(full).figures.levels
    assert levels.receive_db[9] < -15.0
    assert levels.transmit_db[9] == pytest.approx(0.0, abs=0.3)
    half = examine(replace(full, samples=half_matrix(full.samples)))
    assert half.figures.levels.transmit_db == pytest.approx(half.figures.levels.receive_db)
    assert [part.split(":")[0] for part in gate(half).not_shown] == [
        "reciprocity", "transmit and receive of an element apart",
    ]  # fmt: skip


@pytest.mark.parametrize("full", [True, False])
def test_the_clipped_share_is_counted(full):
    """Three samples of one pair at full scale, of two in a row without it."""
    recording = walled(full=full)
    flat = recording.samples.copy().reshape(-1, 800)
    flat[40, 100:103] = [3.0, 3.0, -3.0]
    spoiled = replace(recording, samples=flat.reshape(recording.samples.shape))
    told = examine(replace(spoiled, full_scale=3.0)).figures.clipping
    assert told.samples_fraction == 3 / flat.size
    assert told.pairs_fraction == 1 / len(flat)
    guessed = examine(spoiled).figures.clipping
    assert guessed.samples_fraction == 2 / flat.size
    assert guessed.limit is None
    assert examine(recording).figures.clipping.samples_fraction == 0.0
    upside_down = examine(replace(spoiled, samples=-spoiled.samples)).figures.clipping
    assert upside_down == guessed


@pytest.mark.parametrize("full", [True, False])
def test_the_offset_is_the_mean_over_the_rms(full):
    clean = walled(full=full, noise=0.0)
    flat = clean.samples.copy().reshape(-1, 800)
    number = 3 * 32 + 7 if full else 3 * 32 - 3 + 7 - 3
    flat[number] += 0.05
    spoiled = replace(clean, samples=flat.reshape(clean.samples.shape), full_scale=2.0)
    found = examine(spoiled).figures.offset
    rms = np.sqrt(np.mean(flat.astype(np.float64) ** 2))
    assert found.worst_pair == (4, 8)
    assert found.worst_fraction == pytest.approx(0.05 / rms, rel=0.01)
    assert found.full_scale_fraction == pytest.approx(0.025, rel=0.01)
    assert found.offset_fraction == pytest.approx(
        (clean.samples.mean(dtype=np.float64) + 0.05 / len(flat)) / rms, rel=1e-3
    )


@pytest.mark.parametrize("coupling", [CONTACT, WATER])
@pytest.mark.parametrize("late_us", [-1.3, 0.004, 0.7, 2.5])
def test_the_start_offset_is_found_to_a_tenth_of_a_sample(coupling, late_us):
    recording = walled(coupling=coupling, samples=1600)
    wall = examine(replace(recording, start_us=late_us)).figures.wall
    assert wall.start_offset_us == pytest.approx(late_us, abs=0.002)
    assert wall.coherence_fraction > 0.9


def test_the_wall_stands_out_of_noise_that_hides_it_in_each_signal():
    """Noise as large as the echo: the mean over 1024 signals stands far above the mean noise."""
    loud = examine(walled(noise=1.0)).figures.wall
    silent = examine(walled(noise=1.0, wall=0.0, places=((0.0, 5.0),))).figures.wall
    assert loud.level_db > 20.0
    assert loud.start_offset_us == pytest.approx(0.0, abs=0.02)
    assert silent.level_db < 12.0
    assert silent.coherence_fraction < 0.05


def test_where_there_is_no_wall_to_see_it_says_why():
    tilted = Standoff(kind="wedge", longitudinal_m_per_s=2330.0, height_mm=20.0, angle_deg=36.0)
    unknown = replace(GOOD, medium=THICK.model_copy(update={"thickness_mm": None}))
    for recording, words in (
        (unknown, "no thickness is told"),
        (replace(GOOD, coupling=tilted), "tilted by 36 degrees"),
    ):
        wall = examine(recording).figures.wall
        assert wall.level_db is wall.start_offset_us is wall.expected_us is None
        assert words in wall.reason
        result = gate(examine(recording))
        assert result.accepted
        assert any(words in part for part in result.not_shown)


# the gate


def test_a_silent_recording_is_rejected_with_one_reason():
    silent = examine(with_samples(lambda s: 0 * s))
    assert silent.figures is None
    assert [reason.code for reason in gate(silent).reasons] == ["silent"]


def test_limits_are_the_users():
    """Both sides of each limit: the same figure is accepted by one and rejected by the other."""
    weak = with_samples(lambda s: weaker(s, (4, 15, 27), -8.0))
    assert codes(weak, GateLimits(weak_db=-9.0)) == []
    assert codes(weak, GateLimits(weak_elements_fraction_most=3 / 32)) == []
    assert codes(with_samples(dead), GateLimits(dead_elements_most=1)) == []
    assert codes(with_samples(clipped), GateLimits(clipped_samples_fraction_most=0.5)) == []
    assert codes(with_samples(one_offset), GateLimits(offset_fraction_most=1.0)) == []
    assert codes(replace(GOOD, start_us=1.0), GateLimits(start_periods_most=6.0)) == []
    swapped = GateLimits(reciprocity_element_db_most=0.0, reciprocity_db_most=0.0)
    assert codes(with_samples(swapped_receivers), swapped) == []
    assert codes(GOOD, GateLimits(wall_coherence_least=1.0)) == ["back_wall"]
    assert codes(GOOD, GateLimits(band_fraction_least=0.9999)) == ["axis_order"]


def test_a_wide_band_at_few_samples_shows_no_axis_order():
    """At 16 MHz the band of the probe is most of what is sampled: said, not judged."""
    few = replace(GOOD, samples=noise((32, 32, 800), 1.0), sampling_mhz=16.0)
    result = gate(examine(few))
    assert "axis_order" not in [reason.code for reason in result.reasons]
    assert any(part.startswith("axis order: 0.8") for part in result.not_shown)


def test_rejected_recordings_are_counted_by_reason_and_never_dropped():
    recordings = [GOOD, with_samples(dead), with_samples(dead_receiver), no_wall(), GOOD]
    results = [gate(examine(recording)) for recording in recordings]
    count = count_gate(results)
    assert (count.accepted, count.rejected) == (2, 3)
    assert dict(count.by_reason) == {"dead_elements": 2, "reciprocity": 1, "back_wall": 1}
    assert count_line(count).startswith("recordings: 2 accepted, 3 rejected (")
    assert count_gate([]) == type(count)(0, 0, ())


def test_the_words_hold_the_figures():
    spoiled = with_samples(dead)
    examination = examine(spoiled)
    lines = examination_lines(examination, GateLimits())
    assert any("dead 10; weak 10" in line for line in lines)
    told = gate_lines(gate(examination))
    assert told[0] == "gate: rejected"
    assert "dead elements: dead, -12 dB or more below the array: element 10; most 0" in told[1]
    late = gate(examine(replace(GOOD, start_us=1.0))).reasons[0].words
    assert late == (
        "the back wall lies +1.000 µs from where it is expected, most 0.4 µs: start time, "
        "thickness or velocity is not as told"
    )
    measured = replace(GOOD, provenance=Provenance("measured", "invented"))
    assert examination_lines(examine(measured), GateLimits())[0].startswith("measured; 32 elements")
