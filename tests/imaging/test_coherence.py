"""Measures of coherence in cases with a closed form."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.imaging.chance import simulated_level
from qualify.imaging.coherence import RANDOM_SPREAD, Sums, measure_of

MEASURES = (
    "vector_coherence", "phase_coherence_factor", "sign_coherence_factor", "coherence_factor"
)  # fmt: skip


def sums(values):
    """Return the sums of one pixel over complex signals."""
    values = np.asarray(values, complex)
    phase = np.angle(values)
    phases = [phase, phase**2, np.abs(phase), np.sign(phase), np.sign(values.real)]
    return Sums(
        signal=np.array([values.sum()], np.complex64),
        unit=np.array([(values / np.abs(values)).sum()], np.complex64),
        squares=np.array([(np.abs(values) ** 2).sum()], np.float32),
        phases=np.array([[row.sum()] for row in phases], np.float32),
        count=np.array([len(values)], np.float32),
    )


def measured(values, measure):
    return float(measure_of(sums(values), measure)[0])


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("phase", [0.0, 0.3, 3.1415])
def test_equal_signals_are_fully_coherent(measure, phase):
    assert measured(np.full(50, np.exp(1j * phase)), measure) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("measure", MEASURES)
def test_opposite_halves_are_not_coherent(measure):
    """Signs +1 and −1 in equal numbers; phases 0 and π have σ = π/2, so 1 − √3/2 of that factor."""
    wanted = 1.0 - np.sqrt(3.0) / 2 if measure == "phase_coherence_factor" else 0.0
    values = np.tile([1.0, np.exp(1j * (np.pi - 1e-6))], 30)
    assert measured(values, measure) == pytest.approx(wanted, abs=1e-3)


def test_even_spread_of_phases_has_the_spread_of_chance():
    """Phases even over a full turn: σ = π/√3 = σ₀; over an angle w: σ = w/√12, R = sinc(w/2π)."""
    even = np.exp(1j * (np.arange(4000) + 0.5) / 4000 * 2 * np.pi)
    assert measured(even, "phase_coherence_factor") == pytest.approx(0.0, abs=1e-3)
    assert measured(even, "vector_coherence") == pytest.approx(0.0, abs=1e-3)
    width = 1.2
    part = np.exp(1j * ((np.arange(4000) + 0.5) / 4000 - 0.5) * width)
    assert measured(part, "phase_coherence_factor") == pytest.approx(
        1.0 - width / np.sqrt(12.0) / RANDOM_SPREAD, abs=1e-4
    )
    assert measured(part, "vector_coherence") == pytest.approx(np.sinc(width / 2 / np.pi), abs=1e-5)


def test_phase_factor_does_not_depend_on_where_the_phase_wraps():
    """A narrow spread about π is as narrow as one about 0."""
    about_zero = np.exp(1j * np.linspace(-0.2, 0.2, 41))
    found = [measured(about_zero * turn, "phase_coherence_factor") for turn in (1.0, -1.0)]
    assert found[0] == pytest.approx(found[1], abs=1e-4)


def test_sign_factor_and_coherence_factor_in_numbers():
    """75 signs of 100 positive: b̄ = 0.5, 1 − √0.75. Amplitudes 1 and 3: (4/2)²/(10/2) = 0.8."""
    signs = np.array([1.0] * 75 + [-1.0] * 25)
    assert measured(signs, "sign_coherence_factor") == pytest.approx(1 - np.sqrt(0.75), abs=1e-6)
    assert measured([1.0, 3.0], "coherence_factor") == pytest.approx(0.8, abs=1e-6)
    assert measured([1.0, 3.0], "vector_coherence") == pytest.approx(1.0, abs=1e-6)


@given(
    st.lists(st.tuples(st.floats(0.1, 10.0), st.floats(-3.1, 3.1)), min_size=2, max_size=30),
    st.floats(0.01, 100.0),
)
def test_measures_stay_between_0_and_1_and_gain_cancels(signals, gain):
    values = np.array([size * np.exp(1j * phase) for size, phase in signals])
    for measure in MEASURES:
        found = measured(values, measure)
        assert 0.0 <= found <= 1.0
        assert measured(gain * values, measure) == pytest.approx(found, abs=2e-3)


def test_an_unknown_measure_takes_no_other_formula():
    with pytest.raises(ValueError, match="'made_up' is no measure"):
        measure_of(sums([1.0, 1j]), "made_up")
    with pytest.raises(ValueError, match="'made_up' is no measure"):
        simulated_level("made_up", np.full(4, 0.25), 4.0)


def test_sums_without_phases_answer_no_question_of_phases():
    bare = sums([1.0, 1j])
    bare = Sums(bare.signal, bare.unit, bare.squares, None, bare.count)
    with pytest.raises(ValueError, match="needs sums of phases"):
        measure_of(bare, "sign_coherence_factor")
