"""The declaration: parties, scope, people, equipment, software, events, remedies, transfer.

Every field carries its explanation; the templates and the workbook print it.
"""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Positive, Text

RoleName = Literal[
    "owner",
    "integrity_engineer",
    "developer",
    "block_maker",
    "metrologist",
    "truth_custodian",
    "invigilator",
    "reader",
    "statistician",
    "reviewer",
]
EventKind = Literal[
    "plan_frozen",
    "threshold_frozen",
    "truth_sealed",
    "trial_started",
    "calls_committed",
    "trial_ended",
    "truth_opened",
    "analysis_run",
]
DeviationKind = Literal[
    "set_overlap",
    "software_revision",
    "call_over_two_units",
    "call_unit_mismatch",
    "person_in_two_roles",
    "frozen_after_opening",
    "not_frozen_before_opening",
    "changed_after_freezing",
    "sealed_after_start",
    "seal_broken",
    "seal_not_opened",
    "changed_after_opening",
    "log_broken",
]


class Scope(BaseModel):
    """The component and its ranges, as the client signed them."""

    model_config = STRICT
    component: Text = Field(description="the component, in words")
    material: Text = Field(description="material and condition")
    thickness_min_mm: Positive = Field(description="smallest thickness in scope")
    thickness_max_mm: Positive = Field(description="largest thickness in scope")
    surface: Text = Field(description="surface finish and couplant")
    temperature: Text = Field(description="range of surface temperature")
    access: Text = Field(description="scan surfaces that can be reached")
    level_of_rigour: Text = Field(description="which logic: blind demonstration, open, reasoning")
    governing_code: Text = Field(description="governing code and edition, as the client states it")


class Party(BaseModel):
    """An organisation, by coded name."""

    model_config = STRICT
    id: Text = Field(description="short id, as B")
    name: Text = Field(description="coded name, as 'Company B'")
    interest: Text = Field(description="its interest in the outcome")


class Role(BaseModel):
    """Who held which role and what that person knew."""

    model_config = STRICT
    role: RoleName = Field(description="role in the trial")
    person: Text = Field(description="coded person, as B-1; never a name")
    party: Text = Field(description="id of the party")
    knew_truth: Literal["none", "open set", "blind set", "all"] = Field(
        description="what this person knew before the calls were committed"
    )
    declared_conflict: Text | None = Field(None, description="a declared conflict, if any")


class Reader(BaseModel):
    """A reader's competence and practice."""

    model_config = STRICT
    reader: Text = Field(description="reader's id, as in the call sheets")
    certification: Text = Field(description="method, level and scheme of the certificate")
    hours_on_mode: Annotated[float, Field(ge=0)] = Field(description="training hours on the mode")
    vision: Text = Field(description="vision check and date")
    practice: Text = Field(description="result of the practice set")
    typical: bool = Field(description="true if typical of the market, false if a developer")


class WorstCase(BaseModel):
    """A worst-case defect and what the trial holds for it."""

    model_config = STRICT
    id: Text = Field(description="id, as WCD-01")
    defect: Text = Field(description="morphology, orientation, place")
    echo: Text = Field(description="the echo expected to make the indication")
    evidence: Text = Field(description="what in this study shows it, or 'reasoning only', 'none'")


class Variable(BaseModel):
    """A procedure variable with its three nested ranges."""

    model_config = STRICT
    id: Text = Field(description="id, as EV01")
    name: Text = Field(description="name of the variable")
    group: Literal["input", "procedure", "equipment", "personnel", "analysis"] = Field(
        description="group"
    )
    unit: Text = Field(description="unit")
    qualified_range: Text = Field(description="what the evidence covers")
    procedure_range: Text = Field(description="what the procedure allows")
    actual: Text = Field(description="what was used; 'not recorded' is a value")
    basis: Text = Field(description="where the tolerance comes from, or 'asserted'")


class Equipment(BaseModel):
    """An item of equipment and its check."""

    model_config = STRICT
    id: Text = Field(description="id")
    item: Text = Field(description="what it is, make-neutral")
    serial: Text = Field(description="serial number")
    check: Text = Field(description="check and its result")
    checked_on: date = Field(description="day of the check")


class Software(BaseModel):
    """A revision of the software at one stage of the study."""

    model_config = STRICT
    stage: Literal["set-up", "trial", "analysis"] = Field(description="stage")
    name: Text = Field(description="what it is, make-neutral")
    revision: Text = Field(description="revision")
    digest: Text | None = Field(None, description="SHA-256 of the program, if taken")


class Event(BaseModel):
    """Something that happened outside the tool, as somebody declares it."""

    model_config = STRICT
    kind: EventKind = Field(description="what happened")
    on: date = Field(description="day")
    by: Text = Field(description="coded person")
    document: Text | None = Field(None, description="document that records it")
    digest: Text | None = Field(None, description="SHA-256 of that document, if taken")


class Remedy(BaseModel):
    """What was done about a deviation, and who signed."""

    model_config = STRICT
    deviation: DeviationKind = Field(description="kind of the deviation")
    subject: Text | None = Field(
        None, description="which one, as the deviation names it; empty = all of the kind"
    )
    action: Literal["removed", "re-read", "accepted"] = Field(
        description="removed = taken out of the count; re-read = read again (the sheet is "
        "declared as a re-reading); accepted = left as it is"
    )
    text: Text = Field(description="what was done, in words")
    on: date = Field(description="day")
    signed_by: Text = Field(description="coded person who decided")
    second_signature: Text | None = Field(None, description="coded person who signed as second")


class TransferLeg(BaseModel):
    """One leg of the transfer from the trial to the component and to real damage."""

    model_config = STRICT
    leg: Literal["T1", "T2", "T3", "T4", "T5", "T6"] = Field(
        description="T1 surface, T2 material, T3 noise, T4 geometry, T5 reflector, T6 people"
    )
    statement: Text = Field(description="what is known, or 'not demonstrated'")
    evidence: Text = Field(description="evidence, or 'none'")


class Declaration(BaseModel):
    """The whole declaration, as in `study.toml`."""

    model_config = STRICT
    format: Literal[1]
    study: Text = Field(description="id of the study, the same in all of its files")
    title: Text = Field(description="title of the dossier")
    invented: bool = Field(description="true if the data are invented or synthetic")
    revision: Text = Field(description="revision of the dossier")
    dated: date = Field(description="date of the dossier")
    trial_from: date = Field(description="first day of the blind trial")
    trial_until: date = Field(description="last day of the blind trial")
    blindness: Text = Field(description="what the readers were blind to, and how")
    dossier_change: Text = Field(description="what changed since the last revision")
    scope: Scope
    limitations: tuple[Text, ...] = Field((), description="limits of the claim, one each")
    out_of_scope: tuple[Text, ...] = Field((), description="what is out of scope, one each")
    parties: tuple[Party, ...] = ()
    roles: tuple[Role, ...] = ()
    readers: tuple[Reader, ...] = ()
    worst_cases: tuple[WorstCase, ...] = ()
    variables: tuple[Variable, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    software: tuple[Software, ...] = ()
    events: tuple[Event, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    transfer: tuple[TransferLeg, ...] = ()

    @model_validator(mode="after")
    def _trial_runs_forward(self) -> Self:
        if self.trial_until < self.trial_from:
            msg = f"the trial ends on {self.trial_until}, before it begins; swap the two days"
            raise ValueError(msg)
        return self
