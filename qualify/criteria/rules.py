"""Acceptance criteria: what may be asked, of which statistic, and on which side.

No criterion comes with the tool, and no qualification size: the user states both with their
source. A criterion known only from memory carries `verified = false` and is neither judged
nor printed as a requirement.
"""

from dataclasses import dataclass
from typing import Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Text

Statistic = Literal[
    "a90_95",
    "response_a90_95",
    "detection_rate_lower",
    "false_call_rate",
    "false_call_rate_upper",
    "sized",
    "sizing_rmse",
    "sizing_rmse_upper",
    "sizing_bias",
    "largest_undersizing",
    "undersizing_95_95",
    "set_overlap",
    "software_revisions",
    "a90_ratio",
]


@dataclass(frozen=True, slots=True)
class Rule:
    """How a statistic is held against its limit.

    Attributes
    ----------
    words : the statistic in words of the trade.
    sense : 'at most' or 'at least'.
    observed : the Estimate whose value is the observed one (statistic name), if any.
    claim_bound : the Estimate whose value must lie on the right side for *met*.
    counter_bound : the opposite one-sided bound that decides *not met*.
    by_reader : whether the statistic is told for each reader.
    per : what the criterion is about: a target kind, blank units, or the study.
    magnitude : whether the limit applies to the size of a signed value.
    absent : what to say where no such estimate was made.
    """

    words: str
    sense: Literal["at most", "at least"]
    observed: str | None
    claim_bound: str | None
    counter_bound: str | None
    by_reader: bool
    per: Literal["kind", "blank_units", "study"]
    magnitude: bool = False
    absent: str = "the analysis was not run"


RULES: dict[str, Rule] = {
    "a90_95": Rule("a90/95", "at most", None, "a90_95", "a90_lower_95", by_reader=True, per="kind"),
    "response_a90_95": Rule(
        "a90/95 from responses",
        "at most",
        None,
        "response_a90_95",
        "response_a90_lower_95",
        by_reader=True,
        per="kind",
        absent="no line of responses was fitted in this mode",
    ),
    "detection_rate_lower": Rule(
        "lower 95 % bound of the detection rate",
        "at least",
        None,
        "detection_rate_lower",
        "detection_rate_upper",
        by_reader=True,
        per="kind",
    ),
    "false_call_rate": Rule(
        "observed false-call rate",
        "at most",
        "false_call_rate",
        None,
        None,
        by_reader=True,
        per="blank_units",
    ),
    "false_call_rate_upper": Rule(
        "upper 95 % bound of the false-call rate",
        "at most",
        None,
        "false_call_rate_upper",
        "false_call_rate_lower",
        by_reader=True,
        per="blank_units",
    ),
    "sized": Rule(
        "number of targets sized", "at least", "sized", None, None, by_reader=True, per="kind"
    ),
    "sizing_rmse": Rule(
        "RMSE of sizing", "at most", "sizing_rmse", None, None, by_reader=True, per="kind"
    ),
    "sizing_rmse_upper": Rule(
        "upper 95 % bound of the RMSE of sizing",
        "at most",
        None,
        "sizing_rmse_upper",
        "sizing_rmse_lower",
        by_reader=True,
        per="kind",
    ),
    "sizing_bias": Rule(
        "bias of sizing (magnitude)",
        "at most",
        "sizing_bias",
        None,
        None,
        by_reader=True,
        per="kind",
        magnitude=True,
    ),
    "largest_undersizing": Rule(
        "largest undersizing",
        "at most",
        "largest_undersizing",
        None,
        None,
        by_reader=True,
        per="kind",
    ),
    "undersizing_95_95": Rule(
        "undersizing 95/95",
        "at most",
        None,
        "undersizing_95_95",
        "undersizing_95_95_lower",
        by_reader=True,
        per="kind",
    ),
    "set_overlap": Rule(
        "targets in two sets among those that count",
        "at most",
        "set_overlap",
        None,
        None,
        by_reader=False,
        per="study",
    ),
    "software_revisions": Rule(
        "software revisions behind what counts",
        "at most",
        "software_revisions",
        None,
        None,
        by_reader=False,
        per="study",
    ),
    "a90_ratio": Rule(
        "upper 95 % bound of the ratio of a90, candidate to reference",
        "at most",
        None,
        "a90_ratio_upper",
        "a90_ratio_lower",
        by_reader=True,
        per="kind",
        absent="the plan names no reference mode, or the modes were not read on the same targets",
    ),
}


UNITS: dict[str, str] = {
    "a90_95": "mm",
    "response_a90_95": "mm",
    "detection_rate_lower": "fraction",
    "false_call_rate": "fraction",
    "false_call_rate_upper": "fraction",
    "sized": "count",
    "sizing_rmse": "mm",
    "sizing_rmse_upper": "mm",
    "sizing_bias": "mm",
    "largest_undersizing": "mm",
    "undersizing_95_95": "mm",
    "set_overlap": "count",
    "software_revisions": "count",
    "a90_ratio": "ratio",
}
"""The unit in which each statistic is estimated and its limit is stated."""


TOGETHER = {"pooled": ("a90_95", "a90_ratio"), "new_reader": ("a90_95",)}
"""The statistics that are told of readers together, by the criterion's reader."""


class Criterion(BaseModel):
    """One clause of one criterion; clauses with the same id are judged together."""

    model_config = STRICT
    id: Text = Field(description="id, as C1; clauses that share an id are judged together")
    statement: Text = Field(description="the requirement in words")
    statistic: Statistic = Field(description="the statistic that is held against the limit")
    population: Text | None = Field(
        None, description="kind of target, blank_units, or empty for the whole study"
    )
    mode: Text | None = Field(None, description="id of the mode, empty for the whole study")
    reader: Literal["each", "worst", "pooled", "new_reader", "automatic"] | None = Field(
        None,
        description="each reader must pass; the worst governs; pooled = the mean of these readers; "
        "new_reader = a reader of the class they come from; automatic (a rule)",
    )
    limit: Finite = Field(description="the limit, in the unit given")
    unit: Literal["mm", "fraction", "count", "ratio"] = Field(
        description="unit of the limit, fixed by the statistic: sizes mm, rates fraction"
    )
    source: Text = Field(description="where the requirement comes from, with its edition")
    verified: bool = Field(
        description="true if the clause was read in the edition named; false = from memory, "
        "then it is not judged"
    )

    @property
    def rule(self) -> Rule:
        """The rule of this criterion's statistic."""
        return RULES[self.statistic]

    @model_validator(mode="after")
    def _fits_its_rule(self) -> Self:
        rule = self.rule
        if self.unit != UNITS[self.statistic]:
            msg = (
                f"criterion {self.id} ({self.statistic}) has unit '{self.unit}'; give the limit "
                f"in {UNITS[self.statistic]} (10 % is 0.1 fraction)"
            )
            raise ValueError(msg)
        if rule.per == "kind" and self.population in (None, "blank_units"):
            msg = f"criterion {self.id} ({self.statistic}) names no kind; give a target kind"
            raise ValueError(msg)
        if rule.per == "blank_units" and self.population != "blank_units":
            msg = (
                f"criterion {self.id} ({self.statistic}) has population "
                f"'{self.population}'; give blank_units"
            )
            raise ValueError(msg)
        if rule.per == "study" and (self.population or self.mode or self.reader):
            msg = (
                f"criterion {self.id} ({self.statistic}) is about the whole study; "
                "leave population, mode and reader empty"
            )
            raise ValueError(msg)
        told = TOGETHER.get(self.reader or "")
        if told is not None and self.statistic not in told:
            msg = (
                f"criterion {self.id} ({self.statistic}) has reader '{self.reader}', for whom it "
                f"is never told; '{self.reader}' goes with {' or '.join(told)}"
            )
            raise ValueError(msg)
        if self.unit == "ratio" and self.limit <= 0.0:
            msg = f"criterion {self.id} has limit {self.limit:g}; give a ratio above 0"
            raise ValueError(msg)
        if rule.by_reader and (self.mode is None or self.reader is None):
            msg = f"criterion {self.id} ({self.statistic}) lacks mode or reader; give both"
            raise ValueError(msg)
        return self
