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
        for (name, ours), theirs in zip(
            recorded_how(recording).items(), recorded_how(twin).values(), strict=True
        )
        if ours != theirs
    ]
    if samples_digest(recording.samples) == samples_digest(twin.samples):
        faults.append(
            Fault(PLACE, "is the recording itself", "give one of the same kind without flaws")
        )
    if faults:
        raise InputError(faults)


def recorded_how(recording: Recording) -> dict[str, Any]:
    """Return, by name, all in which recordings that are held against each other are alike."""
    told: dict[str, Any] = {
        "signal": recording.provenance.signal,
        "matrix": "half" if recording.is_half else "full",
        "sampling_mhz": recording.sampling_mhz,
        "start_us": recording.start_us,
        "samples of a signal": recording.sample_count,
        "full_scale": recording.full_scale,
        "gain_db": recording.gain_db,
        "coupling": recording.coupling,
        "medium.longitudinal_m_per_s": recording.medium.longitudinal_m_per_s,
    }
    probe = recording.probe
    return told | {f"probe.{name}": getattr(probe, name) for name in type(probe).model_fields}


def _told(value: Any) -> str:
    return "none" if value is None else str(value)
