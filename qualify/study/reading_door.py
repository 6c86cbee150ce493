"""The images that a reading needs, looked at before the first is read; faults are told together."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qualify.errors import Fault, InputError, refuse
from qualify.files import read_bytes, read_toml, validated
from qualify.study.imaging_plan import FILE as IMAGING
from qualify.study.load import PLAN as STUDY_PLAN
from qualify.study.plan import Plan
from qualify.study.reading_inputs import ReadingInputs, Unit
from qualify.study.reading_plan import FILE as PLAN
from qualify.study.trial_image_file import TrialHead, trial_head
from qualify.study.trial_images import FOLDER

SHOWN = 3  # files named in one message
ANEW = "image the trial first: qualify image STUDY"
Found = tuple[str, str]
"""What was found, and what is wanted."""


@dataclass(frozen=True, slots=True)
class Images:
    """The images of a reading, there and fitting.

    Attributes
    ----------
    inputs : digest of all that each depends on, by name of its file.
    rejected : names of files whose recording the gate rejects.
    """

    inputs: dict[str, str]
    rejected: tuple[str, ...]


def open_images(inputs: ReadingInputs) -> Images:
    """Return the images of the open blanks.

    Raises
    ------
    InputError : where there is no blank, or an image is missing or does not fit.
    """
    blanks = list(inputs.open_blanks())
    if not blanks:
        wanted = "thresholds come from units without a target; name a block that has some"
        raise refuse(f"{PLAN}: open_blocks", "hold no blank unit", wanted)
    return _images(inputs, blanks)


def blind_images(inputs: ReadingInputs) -> Images:
    """Return the images of all units of the coded pieces.

    Raises
    ------
    InputError : where an image is missing or does not fit, or a unit has two.
    """
    pieces = inputs.presented.values()
    twice = [
        Fault(
            f"{FOLDER}/{coded.name}",
            f"is of the same unit as {inputs.file_of(piece.block, unit).name}",
            "keep one of them, and the recording it was made from",
        )
        for piece in pieces
        for number, unit in enumerate(piece.units, start=1)
        if (coded := inputs.coded_file(piece, number)).is_file()
        and inputs.file_of(piece.block, unit).is_file()
    ]
    if twice:
        raise InputError(twice)
    return _images(inputs, [one for piece in pieces for one in inputs.piece_units(piece)])


def _images(inputs: ReadingInputs, units: Sequence[Unit]) -> Images:
    """Return the images of units, or every fault: files with the same fault in one message."""
    faults: dict[Found, list[str]] = {}
    heads: dict[str, TrialHead] = {}
    for one in units:
        if not one.file.is_file():
            faults.setdefault(("is not there", ANEW), []).append(_missing(inputs, one))
            continue
        try:
            head = trial_head(read_bytes(one.file), one.file.name)
        except InputError as error:
            for fault in error.faults:
                faults.setdefault((fault.found, fault.wanted), []).append(one.file.name)
            continue
        heads[one.file.name] = head
        if found := _unfit(inputs, one, head):
            faults.setdefault(found, []).append(one.file.name)
    if not faults:
        faults |= _signals(inputs.folder, heads)
    if faults:
        raise InputError(
            Fault(f"{FOLDER}/{_listed(names)}", *found) for found, names in faults.items()
        )
    return Images(
        {name: head.inputs_sha256 for name, head in heads.items()},
        tuple(name for name, head in heads.items() if head.rejected),
    )


def _missing(inputs: ReadingInputs, one: Unit) -> str:
    if one.piece is None:
        return one.file.name
    coded = inputs.coded_file(one.piece, one.piece.number_of(one.unit))
    return f"{one.file.name} or {coded.name}"


def _listed(names: Sequence[str]) -> str:
    more = len(names) - SHOWN
    return ", ".join(names[:SHOWN]) + (f" and {more} more" if more > 0 else "")


def _unfit(inputs: ReadingInputs, one: Unit, head: TrialHead) -> Found | None:
    """Return what of an image is not as the imaging file says, or not where its unit lies."""
    held = dict(head.modes)
    lost = [mode.name for mode in inputs.plan.modes if mode.name not in held]
    if lost:
        return f"has no mode '{lost[0]}', which {PLAN} reads", "image the trial anew"
    if head.grid != inputs.imaging.region.grid():
        return f"is on another region than that of {IMAGING}", "image the trial anew"
    for mode in inputs.imaging.modes:
        if held.get(mode.name) != mode.in_words():
            found = f"was made with mode '{mode.name}' otherwise than {IMAGING} says"
            return found, "image the trial anew"
    low, high = one.span_mm
    if head.x_mm is not None and not low <= head.x_mm <= high:
        found = f"tells the array at {head.x_mm:g} mm, and its unit lies at {low:g} to {high:g} mm"
        return found, "check its name, and position_mm of its recording"
    return None


def _signals(folder: Path, heads: dict[str, TrialHead]) -> dict[Found, list[str]]:
    """Return what speaks against the signal of images: two kinds of it, or not the plan's."""
    by_signal: dict[str, list[str]] = {}
    for name, head in heads.items():
        by_signal.setdefault(head.signal, []).append(name)
    if len(by_signal) > 1:
        fewest = min(by_signal.items(), key=lambda item: len(item[1]))
        found = f"of {fewest[0]} signals among others that are not"
        return {(found, "the two are never mixed; read them apart"): fewest[1]}
    if not (folder / STUDY_PLAN).is_file():
        return {}
    plan = validated(Plan, read_toml(folder / STUDY_PLAN, STUDY_PLAN), STUDY_PLAN)
    return {
        (f"of {signal} signals", f"{STUDY_PLAN} says signal = '{plan.signal}'; mend it"): names
        for signal, names in by_signal.items()
        if signal != plan.signal
    }
