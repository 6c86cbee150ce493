"""Images read: thresholds from the open blanks; blind units by rule and by models of readers."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from qualify.imaging.grid import Image
from qualify.reading.extent import METHOD_WORDS
from qualify.reading.key import Presented
from qualify.reading.reader_model import seen_by_model
from qualify.reading.rule import Looked, Rule, Seen
from qualify.simulation.streams import stream
from qualify.study.presentation import Look, PresentedRow
from qualify.study.reading_inputs import ReadingInputs, Unit
from qualify.study.reading_plan import ReaderRow, ReadMode
from qualify.study.reading_sheets import Row, Sheet, band_marked, not_examined, row_of
from qualify.study.reading_sizes import SizeRow
from qualify.study.thresholds import Blanks, Thresholds, set_thresholds
from qualify.study.trial_image_file import TrialImage
from qualify.study.trial_images import load_trial_image

Progress = Callable[[int, int], None]
NO_ECHO = "no back-wall echo in the recording"
REJECTED = "recording rejected by the gate"
GAVE_UP = "image broken off"


@dataclass(frozen=True, slots=True)
class Readings:
    """The call sheets of a reading by name, and the sizes of the rule by every method."""

    sheets: dict[str, Sheet]
    sizes: tuple[SizeRow, ...]


def thresholds_of(inputs: ReadingInputs, progress: Progress) -> Thresholds:
    """Return the thresholds that the blank units of the open blocks give.

    Raises
    ------
    InputError : where an image is missing or damaged, or a threshold can't be set.
    """
    blanks = list(inputs.open_blanks())
    images: dict[str, list[Image]] = {mode.name: [] for mode in inputs.plan.modes}
    lost = dict.fromkeys(images, 0)
    for number, one in enumerate(blanks, start=1):
        shown = _Shown(load_trial_image(one.file))
        for mode in inputs.plan.modes:
            if shown.examined(mode):
                images[mode.name].append(shown.image(mode.name))
            else:
                lost[mode.name] += 1
        progress(number, len(blanks))
    held = {mode: Blanks(tuple(found), lost[mode]) for mode, found in images.items()}
    return set_thresholds(inputs.plan, held)


def read_blind(inputs: ReadingInputs, thresholds: Thresholds, progress: Progress) -> Readings:
    """Read every unit of the coded pieces.

    Raises
    ------
    InputError : where an image is missing or damaged.
    """
    work = _Work(inputs, thresholds)
    codes = sorted(inputs.presented)
    for number, code in enumerate(codes, start=1):
        work.piece(inputs.presented[code])
        progress(number, len(codes))
    sheets, sizes = work.sheets()
    return Readings(sheets, sizes)


@dataclass(frozen=True, slots=True)
class _Shown:
    """The images of one place by mode, and whether their control was found."""

    held: TrialImage

    def image(self, mode: str) -> Image:
        return next(image for image in self.held.images if image.mode == mode)

    def examined(self, mode: ReadMode) -> bool:
        """Whether the known echo stands in the image, also where the plan names none.

        Of a recording that the gate rejects nothing is examined.
        """
        if self.held.rejected:
            return False
        pairs = zip(self.held.images, self.held.controls, strict=True)
        wanted = mode.control_in or mode.name
        control = next(control for image, control in pairs if image.mode == wanted)
        return control is None or control.found is True

    def why_not(self) -> Row:
        """Return the row of a unit that was not examined."""
        if self.held.rejected:
            return not_examined(f"{REJECTED}: {'; '.join(self.held.rejected)}", None)
        return not_examined(NO_ECHO)


@dataclass(frozen=True, slots=True)
class _At:
    """A unit of a coded piece, its number from the presented datum, and what is shown of it."""

    code: str
    unit: Unit
    number: int
    shown: _Shown

    def along_mm(self, seen: Seen) -> float:
        """Return the distance of an indication from the presented datum."""
        return self.unit.presented_mm(seen.x_mm, self.shown.held.x_mm)

    def ordered(self, found: tuple[Seen, ...]) -> list[Seen]:
        """Return indications in the direction in which the piece was presented."""
        return sorted(found, key=self.along_mm)


@dataclass(slots=True)
class _Work:
    """The sheets as they grow: rows by look and code; indications of the rule with their rows."""

    inputs: ReadingInputs
    thresholds: Thresholds
    rows: dict[tuple[Look, str], Sheet] = field(default_factory=dict)
    marks: list[tuple[str, str, int, Seen]] = field(default_factory=list)

    def rule(self, mode: ReadMode) -> Rule:
        told = self.thresholds.of(mode.name)
        return Rule(
            self.inputs.plan.looking(mode.name),
            told.background(),
            told.threshold,
            (mode.size_method, *mode.also),
        )

    def piece(self, piece: Presented) -> None:
        """Read all units of a piece, by rule and by the models."""
        for number, one in enumerate(self.inputs.piece_units(piece), start=1):
            shown = _Shown(load_trial_image(one.file))
            for mode in self.inputs.plan.modes:
                self._unit(_At(piece.code, one, number, shown), mode)

    def _unit(self, at: _At, mode: ReadMode) -> None:
        """Read one unit in one mode; its responses are computed once for all who read it."""
        looked = None
        if at.shown.examined(mode):
            looked = Looked.at(at.shown.image(mode.name), self.rule(mode))
        self._by_rule(at, mode, looked)
        if mode.name in self.inputs.plan.model_modes:
            for reader in self.inputs.plan.readers:
                for reading in self._readings(reader.reader, mode.name, at.code):
                    self._by_model(at, (reader.reader, mode.name, reading), reader, mode, looked)

    def _readings(self, reader: str, mode: str, code: str) -> Iterator[int]:
        if not self.inputs.order:
            yield 1
            return
        for (who, what, reading), rows in self.inputs.order.items():
            if (who, what) == (reader, mode) and any(row.code == code for row in rows):
                yield reading

    def _by_rule(self, at: _At, mode: ReadMode, looked: Looked | None) -> None:
        look = (self.inputs.plan.reader, mode.name, 1)
        sheet, head = self._sheet(look, at)
        if looked is None:
            sheet.append(head | at.shown.why_not())
            return
        found = looked.by_rule()
        words, unit = METHOD_WORDS[mode.size_method], looked.image.unit
        for seen in at.ordered(found):
            self.marks.append((mode.name, at.code, len(sheet), seen))
            sheet.append(head | row_of(at.along_mm(seen), seen, words, unit, digits=2))
        if not found:
            empty, top = {"verdict": "nothing_found"}, looked.largest()
            if top is not None:
                empty |= {"response": f"{top:.4f}", "response_unit": unit}
            sheet.append(head | empty)

    def _by_model(
        self, at: _At, look: Look, reader: ReaderRow, mode: ReadMode, looked: Looked | None
    ) -> None:
        sheet, head = self._sheet(look, at)
        if looked is None:
            sheet.append(head | at.shown.why_not())
            return
        who, what, reading = look
        name = ("look", str(reading), who, what, at.unit.block.id, at.unit.unit.id)
        found = seen_by_model(looked, reader.model(), stream(self.inputs.plan.seed, *name))
        if found is None:
            sheet.append(head | not_examined(GAVE_UP))
            return
        words = METHOD_WORDS[mode.size_method]
        for seen in at.ordered(found):
            sheet.append(head | row_of(at.along_mm(seen), seen, words, None, digits=1))
        if not found:
            sheet.append(head | {"verdict": "nothing_found"})

    def _sheet(self, look: Look, at: _At) -> tuple[Sheet, Row]:
        """Return the rows of a look at a piece, and what each row of a unit begins with."""
        head = {"reader": look[0], "mode": look[1], "code": at.code, "unit": str(at.number)}
        return self.rows.setdefault((look, at.code), []), head | self._told(look, at.code)

    def _told(self, look: Look, code: str) -> dict[str, str]:
        """Return day and software of a look, where the presentation says them."""
        row = next((r for r in self.inputs.order.get(look, ()) if r.code == code), None)
        if row is None:
            return {}
        day = {} if row.read_on is None else {"read_on": row.read_on.isoformat()}
        return day | ({} if row.software is None else {"software": row.software})

    def sheets(self) -> tuple[dict[str, Sheet], tuple[SizeRow, ...]]:
        """Return the sheets, pieces in the order of presentation, and the sizes with their rows."""
        out: dict[str, Sheet] = {}
        first: dict[tuple[str, str], int] = {}
        for look in sorted({look for look, _ in self.rows}):
            reader, mode, reading = look
            name = f"{reader}_{mode}" + ("_re-reading" if reading > 1 else "")
            sheet: Sheet = []
            for code in self._order(look):
                if reader == self.inputs.plan.reader:
                    first[(mode, code)] = len(sheet) + 2
                sheet += self.rows[(look, code)]
            bands = {row.reader: row.bands_in for row in self.inputs.plan.readers}
            if reading == 1 and bands.get(reader) == mode:
                rng = stream(self.inputs.plan.seed, "bands", reader, mode)
                sheet = band_marked(sheet, self.inputs.presented, rng)
            out[name] = sheet
        sizes = [
            SizeRow(
                f"{self.inputs.plan.reader}_{mode}",
                first[(mode, code)] + place,
                method,
                size.mm,
                size.reason or "",
            )
            for mode, code, place, seen in self.marks
            for method, size in zip(self._methods(mode), seen.sizes, strict=True)
        ]
        return out, tuple(sizes)

    def _methods(self, mode: str) -> tuple[str, ...]:
        told = self.inputs.plan.mode(mode)
        return (told.size_method, *told.also)

    def _order(self, look: Look) -> list[str]:
        rows: tuple[PresentedRow, ...] = self.inputs.order.get(look, ())
        return [row.code for row in rows] or sorted(
            code for held, code in self.rows if held == look
        )
