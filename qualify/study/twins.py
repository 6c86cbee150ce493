"""Whether a recording may stand as the flaw-free twin of another."""

from typing import Any

from qualify.errors import Fault, InputError
from qualify.recording.record import Recording, samples_digest

PLACE = "--twin"


def check_twin(recording: Recording, twin: Recording) -> None:
    """Refuse a twin that was not recorded as the recording was.

    Probe, coupling, velocity, sampling, recorded time, gain, full scale and kind of signal have to
    be the same: only then does the same place without a flaw say what chance and noise do there.

    Raises
    ------
    InputError : with every difference.
    """
    faults = [
        Fault(
            f"{PLACE}: {name}",
            f"found {_told(theirs)}, and the recording has {_told(ours)}",
            "give a twin recorded in the same way",
        )
        for name, ours, theirs in _compared(recording, twin)
        if ours != theirs
    ]
    if samples_digest(recording.samples) == samples_digest(twin.samples):
        faults.append(
            Fault(PLACE, "is the recording itself", "give one of the same kind without flaws")
        )
    if faults:
        raise InputError(faults)


def _compared(one: Recording, other: Recording) -> list[tuple[str, Any, Any]]:
    pairs: list[tuple[str, Any, Any]] = [
        ("signal", one.provenance.signal, other.provenance.signal),
        ("matrix", _half(one), _half(other)),
        ("sampling_mhz", one.sampling_mhz, other.sampling_mhz),
        ("start_us", one.start_us, other.start_us),
        ("samples of a signal", one.sample_count, other.sample_count),
        ("full_scale", one.full_scale, other.full_scale),
        ("gain_db", one.gain_db, other.gain_db),
        ("coupling", one.coupling, other.coupling),
        (
            "medium.longitudinal_m_per_s",
            one.medium.longitudinal_m_per_s,
            other.medium.longitudinal_m_per_s,
        ),
    ]
    names = type(one.probe).model_fields
    pairs += [(f"probe.{k}", getattr(one.probe, k), getattr(other.probe, k)) for k in names]
    return pairs


def _half(recording: Recording) -> str:
    return "half" if recording.is_half else "full"


def _told(value: Any) -> str:
    return "none" if value is None else str(value)
