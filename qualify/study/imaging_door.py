"""All that `image` is given, read and held against one another before anything is imaged.

Faults of several files are told together: a night's run shall not stop at its hundredth recording
for what could be known at its start.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from qualify.blocks.definition import Block
from qualify.errors import Fault, InputError
from qualify.files import read_toml, validated
from qualify.imaging.focus import check_mode
from qualify.imaging.modes import Mode
from qualify.recording.record import Recording, samples_digest
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.load import load_block
from qualify.study.recordings import load_recording
from qualify.study.twins import check_twin

Value = TypeVar("Value")
Judge = Callable[[Block, Recording, str], object]


@dataclass(frozen=True, slots=True)
class Given:
    """What `image` works with, read and checked.

    Attributes
    ----------
    first : the first recording, read already. The others are let go and read again in their turn,
        so that thousands of them need the memory of one.
    """

    plan: ImagingPlan
    twin: Recording | None
    block: Block | None
    first: Recording


@dataclass(slots=True)
class _Faults:
    """Faults gathered, each once."""

    held: dict[Fault, None] = field(default_factory=dict)

    def take(self, work: Callable[[], Value], where: str = "") -> Value | None:
        """Return what `work` gives, or None with its faults kept; `where` leads their places."""
        try:
            return work()
        except InputError as error:
            self.held |= {Fault(where + f.place, f.found, f.wanted): None for f in error.faults}
            return None


def read_given(
    recordings: Sequence[Path],
    imaging: Path,
    twin: Path | None,
    targets: Path | None,
    judge: Judge,
) -> Given:
    """Read plan, twin and targets, and every recording in its turn; check that all fit together.

    Parameters
    ----------
    judge : raises an `InputError` where the targets of a block have no place in a recording; its
        last argument is the name to use in messages.

    Raises
    ------
    InputError : with the faults of all files.
    """
    faults = _Faults()
    plan = faults.take(lambda: validated(ImagingPlan, read_toml(imaging), str(imaging)))
    without = None if twin is None else faults.take(lambda: load_recording(twin))
    block = None if targets is None else faults.take(lambda: load_block(targets))
    first, seen = None, dict[str, Path]()
    for path in recordings:
        recording = faults.take(lambda path=path: load_recording(path))  # type: ignore[misc]
        if recording is None:
            continue
        first = recording if first is None else first
        before = seen.setdefault(samples_digest(recording.samples), path)
        if before is not path:
            twice = Fault(str(path), f"holds the same matrix as {before}", "give each one once")
            faults.held[twice] = None
        _fits(faults, recording, path, without, block, judge)
        for number, mode in enumerate(plan.modes if plan is not None else (), start=1):
            _fits_mode(faults, recording, mode, f"{imaging}: modes.{number}")
    if faults.held or plan is None or first is None:
        raise InputError(faults.held)
    return Given(plan, without, block, first)


def _fits(
    faults: _Faults,
    recording: Recording,
    path: Path,
    twin: Recording | None,
    block: Block | None,
    judge: Judge,
) -> None:
    if twin is not None:
        faults.take(lambda: check_twin(recording, twin), f"{path}: ")
    if block is not None:
        faults.take(lambda: judge(block, recording, str(path)))


def _fits_mode(faults: _Faults, recording: Recording, mode: Mode, place: str) -> None:
    faults.take(lambda: check_mode(recording, mode), f"{place}: ")
    scaled = recording.full_scale is not None and not mode.corrections.spreading
    if mode.show != "coherence" and scaled and (mode.threshold or 0.0) > 0.0:
        above = Fault(
            f"{place}: mode {mode.name}: threshold",
            f"{mode.threshold:g} dB re full scale, which no amplitude reaches",
            "give one below 0 dB",
        )
        faults.held[above] = None
