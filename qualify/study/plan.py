"""The plan: what is fixed before truth is opened.

Every field carries its explanation; the templates and the workbook print it.
"""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Positive, Text
from qualify.criteria.rules import Criterion
from qualify.study.response_plan import ResponseAnalysis

Kind = Literal["side_drilled_hole", "notch", "flat_bottomed_hole", "embedded_slot", "pore_cluster"]
Fraction = Annotated[float, Field(ge=0, le=1)]


class Claim(BaseModel):
    """What the study sets out to show; numbers come from the analysis, never from here."""

    model_config = STRICT
    candidate_mode: Text = Field(description="id of the mode that is to be shown capable")
    reference_mode: Text | None = Field(
        None, description="id of the accepted mode it is compared with, if any"
    )
    flaws: Text = Field(description="which flaws in the component are meant, in words")
    region: Text = Field(description="the examined volume, in words, with millimetres")
    question: Text = Field(description="the question the client asked, one sentence")


class Mode(BaseModel):
    """One imaging mode as read in the trial."""

    model_config = STRICT
    id: Text = Field(description="short id, as in the call sheets")
    name: Text = Field(description="name in words")
    status: Literal["accepted", "candidate"] = Field(
        description="accepted = the technique in use; candidate = the one to be shown capable"
    )
    threshold: float | None = Field(
        None, description="reporting threshold, empty where readers call by eye"
    )
    threshold_unit: Literal["db", "linear", "coherence"] | None = Field(
        None, description="db, linear (amplitude) or coherence (0 to 1)"
    )
    reading_rule: Text = Field(description="the rule by which an indication becomes a call")
    set_up_by: Text = Field(description="who set this mode up (a party's id)")


class Population(BaseModel):
    """One kind of target, analysed apart from every other kind."""

    model_config = STRICT
    kind: Kind = Field(description="kind of target")
    size_quantity: Text = Field(description="the quantity that is its size, as diameter_mm")
    size_in_words: Text = Field(description="that quantity in words, as 'diameter'")
    sized: bool = Field(description="true if readers reported this size and its error is judged")


class Matching(BaseModel):
    """How a call becomes a hit."""

    model_config = STRICT
    rule: Literal["box", "grading_unit"] = Field(
        description="box = the call's position must lie in a box about the target; "
        "grading_unit = any call in the target's unit counts (weaker, no positions needed)"
    )
    x_mm: Positive | None = Field(None, description="half width of the box along x")
    y_mm: Positive | None = Field(None, description="half width across, empty if not reported")
    z_mm: Positive | None = Field(None, description="half width in depth")
    add_target_extent: bool = Field(
        True, description="true widens the box by the target's own half extent in x and z"
    )
    derivation: Text = Field(
        description="how the box follows from 2u of position, resolution and encoder"
    )

    @model_validator(mode="after")
    def _box_is_whole(self) -> Self:
        if self.rule == "box" and (self.x_mm is None or self.z_mm is None):
            msg = "rule 'box' without x_mm or z_mm; give both half widths"
            raise ValueError(msg)
        return self


class NotExamined(BaseModel):
    """What a unit counts for that was not examined."""

    model_config = STRICT
    flawed: Literal["miss", "excluded"] = Field(
        "miss", description="a flawed unit not examined: a miss (default) or excluded"
    )
    blank: Literal["excluded"] = Field(
        "excluded", description="a blank unit not examined leaves the denominator"
    )
    limit_fraction: Fraction = Field(
        0.05, description="above this share nothing is counted as demonstrated"
    )


class AnalysisPlan(BaseModel):
    """The primary model and bound, fixed before truth is opened; bounds are one-sided 95 %."""

    model_config = STRICT
    link: Literal["logit", "probit", "cloglog", "loglog"] = Field(
        "logit", description="link function of the POD curve"
    )
    scale: Literal["log", "linear"] = Field("log", description="size axis of the POD curve")
    bound: Literal["calibrated", "likelihood", "wald"] = Field(
        "calibrated",
        description="method of the confidence bound that the criteria use; calibrated holds as "
        "often as it says, the others hold less often in small trials",
    )
    seed: Annotated[int, Field(ge=0)] = Field(
        1, description="seed of the simulations behind the bounds, any whole number from 0"
    )
    reason: Text = Field(description="why this model, in one sentence")


class ComparisonPlan(BaseModel):
    """How candidate and reference are compared on the same targets, fixed before truth is opened.

    Margin and family may be left as they are: without a margin that of a criterion on a90_ratio
    counts.
    """

    model_config = STRICT
    recordings: Literal["same", "different"] | None = Field(
        None,
        description="same = both modes were made from the same recordings; different = each mode "
        "had recordings of its own; empty if not recorded",
    )
    margin: Positive | None = Field(
        None,
        description="ratio of a90, candidate over reference, up to which the candidate counts as "
        "not inferior; empty for the limit of the criterion on a90_ratio",
    )
    family: Literal["hits", "hits_and_curves", "hits_curves_and_a90_ratio"] = Field(
        "hits_and_curves",
        description="tests among which p-values are adjusted (Holm), over all kinds of target",
    )


def _fits_its_mode(response: ResponseAnalysis, mode: Mode | None) -> None:
    """Raise a ValueError where the analysis of responses does not fit its mode."""
    if mode is None:
        msg = f"responses name mode '{response.mode}', which is not listed; name a mode of the plan"
        raise ValueError(msg)
    if mode.threshold is None or mode.threshold_unit != response.unit:
        unit = mode.threshold_unit or "none"
        msg = (
            f"responses of mode '{mode.id}' are in {response.unit}, its threshold in {unit}; "
            "give the mode a threshold in the unit of its responses"
        )
        raise ValueError(msg)
    low, high = response.floor, response.ceiling
    if (low is not None and mode.threshold < low) or (high is not None and mode.threshold >= high):
        msg = (
            f"the threshold {mode.threshold:g} of mode '{mode.id}' lies outside floor and ceiling "
            "of its responses; mend one of them"
        )
        raise ValueError(msg)


def _compares(criterion: Criterion, claim: Claim) -> None:
    """Raise a ValueError where a criterion on the ratio of a90 can never be judged."""
    if claim.reference_mode is None:
        msg = (
            f"criterion {criterion.id} (a90_ratio) has no mode to compare with; name "
            "reference_mode in the claim"
        )
        raise ValueError(msg)
    if criterion.mode != claim.candidate_mode:
        msg = (
            f"criterion {criterion.id} (a90_ratio) is about mode '{criterion.mode}'; it is told of "
            f"the candidate, '{claim.candidate_mode}'"
        )
        raise ValueError(msg)


class Plan(BaseModel):
    """The whole plan, as in `plan.toml`."""

    model_config = STRICT
    format: Literal[1]
    study: Text = Field(description="id of the study, the same in all of its files")
    revision: Text = Field(description="revision of the plan")
    frozen_on: date = Field(description="the day from which the plan no longer changes")
    signal: Literal["measured", "simulated", "none"] = Field(
        description="signals measured on pieces, computed, or none (calls drawn from a model)"
    )
    read_by: Literal["person", "rule", "model"] = Field(
        description="who read: persons, a rule, or a model of readers"
    )
    rule_readers: tuple[Text, ...] = Field(
        (),
        description="ids in the call sheets of readings by rule beside the readers; told apart and "
        "never counted with them. A criterion asks for 'rule' by reader = 'automatic'",
    )
    claim: Claim
    matching: Matching
    not_examined: NotExamined = NotExamined(flawed="miss", blank="excluded", limit_fraction=0.05)
    analysis: AnalysisPlan
    modes: tuple[Mode, ...] = Field(min_length=1)
    populations: tuple[Population, ...] = Field(min_length=1)
    criteria: tuple[Criterion, ...] = ()
    responses: tuple[ResponseAnalysis, ...] = ()
    comparison: ComparisonPlan = ComparisonPlan(
        recordings=None, margin=None, family="hits_and_curves"
    )

    @model_validator(mode="after")
    def _rule_beside_readers(self) -> Self:
        if self.rule_readers and self.read_by == "rule":
            msg = "rule_readers beside read_by 'rule'; leave them out, all readings are by rule"
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _names_agree(self) -> Self:
        known = [mode.id for mode in self.modes]
        kinds: list[str] = [population.kind for population in self.populations]
        named = [self.claim.candidate_mode, self.claim.reference_mode]
        named += [criterion.mode for criterion in self.criteria]
        for mode in named:
            if mode is not None and mode not in known:
                msg = f"mode '{mode}' is named but not listed; the modes are {', '.join(known)}"
                raise ValueError(msg)
        told = [response.mode for response in self.responses]
        for what, ids in (("mode", known), ("population", kinds), ("response of mode", told)):
            for id_ in ids:
                if ids.count(id_) > 1:
                    msg = f"{what} '{id_}' stands twice; keep one of them"
                    raise ValueError(msg)
        for response in self.responses:
            _fits_its_mode(response, next((m for m in self.modes if m.id == response.mode), None))
        for criterion in self.criteria:
            if criterion.statistic == "a90_ratio":
                _compares(criterion, self.claim)
            if criterion.population not in (None, "blank_units", *kinds):
                msg = (
                    f"criterion {criterion.id} names population '{criterion.population}'; "
                    f"the populations are {', '.join(kinds)} and blank_units"
                )
                raise ValueError(msg)
        return self

    def mode(self, id_: str) -> Mode:
        """Return the mode of this id."""
        return next(mode for mode in self.modes if mode.id == id_)

    def population(self, kind: str) -> Population:
        """Return the population of this kind."""
        return next(item for item in self.populations if item.kind == kind)
