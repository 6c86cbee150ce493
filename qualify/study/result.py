"""What a study comes to: inputs, tables, deviations, estimates, verdicts, notices."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import pandas as pd

from qualify.blocks.definition import Block
from qualify.criteria.estimate import Estimates
from qualify.criteria.verdict import Verdict
from qualify.pod.hit_miss import HitMissFit
from qualify.reading.call_sheet import Call
from qualify.reading.key import KeyRow, SetRow
from qualify.reading.tables import Tables
from qualify.study.comparisons import Comparisons
from qualify.study.curve_checks import Cell, CurveCheck
from qualify.study.declaration import Declaration, DeviationKind
from qualify.study.deviations import Deviation
from qualify.study.model_result import ModelCheck
from qualify.study.notice import StudyNotice
from qualify.study.order_log import Recorded
from qualify.study.plan import Plan
from qualify.study.readers_analysis import ReadersResult, Repeats
from qualify.study.reading_files import ReadingFiles
from qualify.study.response_analysis import NoiseResult, ResponseResult
from qualify.study.rule_result import RuleResult
from qualify.study.sensitivity_rows import Sensitivity
from qualify.study.sizing_result import SizingResult
from qualify.study.trial_shown import TrialShown

EventStatus = Literal["recorded", "declared", "not recorded"]
Found = tuple[DeviationKind, str, str]
"""A deviation as found: kind, subject, text."""


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file that went in, by its name in the study, and its SHA-256 digest."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class StudyInputs:
    """Everything a study was given, read and validated.

    `blocks`, `key` and `calls` are empty and `finished` is set where the study entered with
    finished tables; `sets` may be empty then too. `model_check` is of the model behind simulated
    signals, None where none was given; `log` is the log of events, None where there is none;
    `reading` is the stage that read images, None where calls came from elsewhere.
    """

    name: str
    plan: Plan
    declaration: Declaration
    blocks: tuple[Block, ...]
    sets: tuple[SetRow, ...]
    key: tuple[KeyRow, ...]
    calls: tuple[Call, ...]
    finished: Tables | None
    files: tuple[InputFile, ...]
    model_check: ModelCheck | None = None
    log: Recorded | None = None
    reading: ReadingFiles | None = None


@dataclass(frozen=True, slots=True)
class StudyEvent:
    """An event in the order of the trial, and how it is known.

    `on` is an ISO date, a moment in UTC (recorded events) or empty; `document` names its record,
    with the start of its digest. `late` is set where it came too late to count.
    """

    kind: str
    words: str
    on: str
    by: str
    status: EventStatus
    document: str = ""
    late: bool = False


@dataclass(frozen=True, slots=True)
class StudyResult:
    """The outcome of a study, from which dossier, tables and `results.json` are written.

    Attributes
    ----------
    tables : the three tables of the readers, first readings and re-readings alike.
    shown : pictures and coverage from the images of the trial; None where they are not there.
    images : digest of what those images depend on, else None.
    rule : what was read by rule beside the readers, with tables of its own; None where nothing was.
    views : for each basis, the rows of the tables that count on it.
    fits, sizings : by (basis, kind, mode, reader).
    checks : what stands beside each curve, on the basis of the claim box.
    responses, noises : lines through recorded responses, and noise of blanks (kind `blank`), by
        the same; empty where the plan declares none.
    together, repeats : all readers of a mode together, by cell with `all_readers` for the reader;
        how first readings and re-readings of the same units agree.
    sensitivity : by (kind, mode), what the results hang on, on the basis of the claim box.
    comparisons : candidate against reference, by the same with the candidate as mode.
    headline : the basis that governs the claim box.
    synthetic : whether any signal or reading is not of the real world.
    """

    inputs: StudyInputs
    tables: Tables
    views: Mapping[str, Tables]
    deviations: tuple[Deviation, ...]
    events: tuple[StudyEvent, ...]
    fits: Mapping[Cell, HitMissFit]
    sizings: Mapping[Cell, SizingResult]
    checks: Mapping[Cell, CurveCheck]
    estimates: Estimates
    verdicts: tuple[Verdict, ...]
    notices: tuple[StudyNotice, ...]
    readers: tuple[str, ...]
    headline: Literal["as_found", "after_remedy"]
    headline_reason: str
    synthetic: bool
    responses: Mapping[Cell, ResponseResult] = field(default_factory=dict)
    noises: Mapping[Cell, NoiseResult] = field(default_factory=dict)
    comparisons: Comparisons = field(default_factory=lambda: Comparisons({}, {}))
    together: Mapping[Cell, ReadersResult] = field(default_factory=dict)
    repeats: tuple[Repeats, ...] = ()
    sensitivity: Mapping[tuple[str, str], Sensitivity] = field(default_factory=dict)
    rule: RuleResult | None = None
    shown: TrialShown | None = None
    quick: bool = False
    images: str | None = None

    @property
    def all_tables(self) -> Tables:
        """The three tables of the readers, and under them those of the rule."""
        if self.rule is None:
            return self.tables
        one, other = self.tables, self.rule.tables
        return Tables(
            pd.concat([one.opportunities, other.opportunities], ignore_index=True),
            pd.concat([one.calls, other.calls], ignore_index=True),
            pd.concat([one.measurements, other.measurements], ignore_index=True),
        )

    @property
    def plan_has_responses(self) -> bool:
        """Whether the plan declares recorded responses."""
        return bool(self.inputs.plan.responses)

    @property
    def mark(self) -> str:
        """What stands on every page and figure: SIMULATED, SYNTHETIC, QUICK RUN, or nothing."""
        simulated = self.inputs.plan.signal == "simulated"
        told = "SIMULATED" if simulated else ("SYNTHETIC" if self.synthetic else "")
        return " · ".join(word for word in (told, "QUICK RUN" if self.quick else "") if word)
