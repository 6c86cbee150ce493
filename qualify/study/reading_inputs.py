"""What the command `read` finds in the folder of a study: rule, blocks, key, images, presentation.

Of blind blocks only names, ends and grading units are used; what is in them is for the custodian.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from qualify.blocks.definition import Block, GradingUnit
from qualify.errors import Fault, InputError, refuse
from qualify.files import read_toml, validated
from qualify.raw_tables import parse_rows, read_table
from qualify.reading.key import KeyRow, Presented
from qualify.reading.placing import presented_pieces
from qualify.study.data import Sources
from qualify.study.imaging_plan import FILE as IMAGING
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.load import DATA, load_block
from qualify.study.presentation import FILE as PRESENTATION
from qualify.study.presentation import Look, PresentedRow, presentation
from qualify.study.reading_plan import FILE as PLAN
from qualify.study.reading_plan import ReadingPlan
from qualify.study.trial_images import FOLDER


@dataclass(frozen=True, slots=True)
class Unit:
    """A grading unit of a block, and the file of its images.

    Attributes
    ----------
    file : `BLOCK-UNIT.h5`, in the frame of the block; or `CODE-NUMBER.h5`, as the piece lay.
    piece : the coded piece that it is a unit of; None in an open block.
    coded : whether the file is named by code and number.
    """

    block: Block
    unit: GradingUnit
    file: Path
    piece: Presented | None = None
    coded: bool = False

    @property
    def middle_mm(self) -> float:
        """The middle of the unit, where the array stands if its images tell no place.

        In the frame of the images: on the block, or from the presented datum where it is coded.
        """
        low, high = self.span_mm
        return 0.5 * (low + high)

    @property
    def span_mm(self) -> tuple[float, float]:
        """Both ends of the unit in the same frame."""
        ends = (self.unit.x_from_mm, self.unit.x_to_mm)
        if self.coded and self.piece is not None:
            low, high = sorted(self.piece.presented_x_mm(x) for x in ends)
            return low, high
        return ends

    def presented_mm(self, x_mm: float, middle_mm: float | None) -> float:
        """Return the distance from the presented datum of a place in the images.

        x_mm : from the middle of the array. middle_mm : where that stood; None: not told.
        """
        along = (self.middle_mm if middle_mm is None else middle_mm) + x_mm
        if self.coded or self.piece is None:
            return along
        return self.piece.presented_x_mm(along)


@dataclass(frozen=True, slots=True)
class ReadingInputs:
    """The inputs of a reading.

    Attributes
    ----------
    presented : coded pieces by code. order : who got which piece when; empty without a table.
    """

    folder: Path
    plan: ReadingPlan
    imaging: ImagingPlan
    blocks: Mapping[str, Block]
    presented: Mapping[str, Presented]
    order: Mapping[Look, tuple[PresentedRow, ...]]

    def open_units(self) -> Iterator[Unit]:
        """Yield the units of the open blocks."""
        for name in self.plan.open_blocks:
            yield from self._units(self.blocks[name])

    def open_blanks(self) -> Iterator[Unit]:
        """Yield the units of the open blocks that hold no target."""
        return (one for one in self.open_units() if one.unit in one.block.blank_units())

    def piece_units(self, piece: Presented) -> Iterator[Unit]:
        """Yield the units of a coded piece, in the order of presentation."""
        for number, unit in enumerate(piece.units, start=1):
            coded, file = self.coded_file(piece, number), self.file_of(piece.block, unit)
            if coded.is_file() and not file.is_file():
                yield Unit(piece.block, unit, coded, piece, coded=True)
            else:
                yield Unit(piece.block, unit, file, piece)

    def file_of(self, block: Block, unit: GradingUnit) -> Path:
        """Return the file of the images of a unit, named by its block."""
        return self.folder / FOLDER / f"{block.id}-{unit.id}.h5"

    def coded_file(self, piece: Presented, number: int) -> Path:
        """Return the file of the images of a unit, named by code and number from the datum."""
        return self.folder / FOLDER / f"{piece.code}-{number}.h5"

    def _units(self, block: Block) -> Iterator[Unit]:
        for unit in block.grading_units:
            yield Unit(block, unit, self.file_of(block, unit))


def load_reading(folder: Path) -> ReadingInputs:
    """Read everything but the images.

    Raises
    ------
    InputError : with the faults of the file it stops at; those between files together.
    """
    plan = validated(ReadingPlan, read_toml(folder / PLAN, PLAN), PLAN)
    imaging = validated(ImagingPlan, read_toml(folder / IMAGING, IMAGING), IMAGING)
    data = validated(Sources, read_toml(folder / DATA, DATA), DATA)
    if data.key is None:
        raise refuse(f"{DATA}: key", "is missing", "name the key, code to block")
    key = [row for _, row in parse_rows(read_table(folder / data.key, data.key), KeyRow)]
    blocks = {block.id: block for block in (load_block(folder / n, n) for n in data.blocks)}
    faults = [*_unknown_blocks(plan, blocks), *_unknown_modes(plan, imaging)]
    faults += [*_nothing_looked_at(plan, imaging), *_codes_of_blocks(key, blocks)]
    if faults:
        raise InputError(faults)
    presented = presented_pieces(tuple(blocks.values()), key, by_unit=False)
    order: Mapping[Look, tuple[PresentedRow, ...]] = {}
    if (folder / PRESENTATION).is_file():
        table = read_table(folder / PRESENTATION, PRESENTATION)
        order = presentation(table, tuple(presented))
    return ReadingInputs(folder, plan, imaging, blocks, presented, order)


def _unknown_blocks(plan: ReadingPlan, blocks: Mapping[str, Block]) -> list[Fault]:
    return [
        Fault(f"{PLAN}: open_blocks", f"'{name}' is none of the blocks", f"name its file in {DATA}")
        for name in plan.open_blocks
        if name not in blocks
    ]


def _nothing_looked_at(plan: ReadingPlan, imaging: ImagingPlan) -> list[Fault]:
    """Return a fault where the rule would look at no pixel of the images."""
    grid = imaging.region.grid()
    if not plan.region.box().holds(grid).any():
        found = f"holds no pixel of the images, whose region {IMAGING} gives"
        return [Fault(f"{PLAN}: region", found, "move or widen it")]
    return [
        Fault(f"{PLAN}: modes '{mode.name}': masks", "leave no pixel of the region", "mend them")
        for mode in plan.modes
        if not plan.looking(mode.name).within(grid).any()
    ]


def _codes_of_blocks(key: Sequence[KeyRow], blocks: Mapping[str, Block]) -> list[Fault]:
    """Return a fault for a code that is the id of a block: files of images could be of either."""
    found = "is also the id of a block, and names of images could be of either"
    return [
        Fault(f"key: code {row.code}", found, "give the piece another code")
        for row in key
        if row.code in blocks
    ]


def _unknown_modes(plan: ReadingPlan, imaging: ImagingPlan) -> list[Fault]:
    shown = {mode.name: mode.show for mode in imaging.modes}
    faults = []
    for mode in plan.modes:
        place = f"{PLAN}: modes '{mode.name}'"
        if mode.name not in shown:
            found = f"is no mode of {IMAGING}"
            faults.append(Fault(place, found, f"give one of {', '.join(shown)}"))
            continue
        if mode.control_in is not None and mode.control_in not in shown:
            found = f"control_in '{mode.control_in}' is no mode of {IMAGING}"
            faults.append(Fault(place, found, f"give one of {', '.join(shown)}"))
        for method in (mode.size_method, *mode.also):
            if (method == "coherence_extent") != (shown[mode.name] == "coherence"):
                found = f"{method} does not size what {mode.name} shows"
                faults.append(Fault(place, found, "coherence_extent sizes coherence alone"))
    return faults
