"""Readings by rule beside those of readers: the same analysis, on tables of their own.

A rule reads every mode with thresholds of one declared false-call rate, so that modes are compared
at an equal rate; what readers do with the images is another question, and the two are never
counted together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from qualify.criteria.estimate import Basis, Estimate
from qualify.effort import is_whole
from qualify.reading.tables import Tables
from qualify.study.analysis import analyse
from qualify.study.comparison_estimates import comparison_estimates
from qualify.study.comparisons import Comparisons, compare_all
from qualify.study.deviations import Deviation
from qualify.study.notice import StudyNotice
from qualify.study.plan import Plan
from qualify.study.response_analysis import response_results
from qualify.study.response_estimates import response_estimates
from qualify.study.rule_result import RuleResult
from qualify.study.views import views_of


def parted(tables: Tables, rules: Sequence[str]) -> tuple[Tables, Tables | None]:
    """Return the tables of the readers and those of the rules, None where no rule read."""
    if not rules:
        return tables, None
    parts = (tables.opportunities, tables.calls, tables.measurements)
    by_rule = [_own(part, rules) for part in parts]
    others = [part[~part["reader"].isin(rules)].reset_index(drop=True) for part in parts]
    return Tables(*others), Tables(*by_rule) if len(by_rule[0]) else None


def _own(table: pd.DataFrame, rules: Sequence[str]) -> pd.DataFrame:
    return table[table["reader"].isin(rules)].reset_index(drop=True)


def readers_plan(plan: Plan) -> Plan:
    """Return the plan as it concerns the readers: what is recorded by rule is not theirs."""
    return plan.model_copy(update={"responses": ()}) if plan.rule_readers else plan


def rule_plan(plan: Plan) -> Plan:
    """Return the plan as it concerns the rules; a quick run leaves recorded responses out."""
    told = {"read_by": "rule", "rule_readers": ()}
    return plan.model_copy(update=told if is_whole() else told | {"responses": ()})


def analyse_rule(
    tables: Tables, deviations: Sequence[Deviation], plan: Plan
) -> tuple[RuleResult, list[Estimate], list[StudyNotice]]:
    """Return the analysis of readings by rule, its estimates and notices.

    tables : of the rules alone. plan : of the whole study.
    """
    own = rule_plan(plan)
    rules = tuple(sorted({str(reader) for reader in tables.opportunities["reader"]}))
    views: Mapping[Basis, Tables] = views_of(tables, deviations, own)
    analysis = analyse(views, own, rules)
    asked = any(criterion.statistic.startswith("response") for criterion in own.criteria)
    lines, noises = response_results(views if asked else {}, own, rules)
    estimates, notices = response_estimates(lines, noises, own.analysis.seed)
    comparisons = compare_all(views, own, rules)
    beside = {mode: _against(views, own, rules, mode) for mode in _others(own, views)}
    told = [*analysis.estimates, *estimates, *comparison_estimates(comparisons)]
    for mode, found in beside.items():
        told += [_named(one, mode) for one in comparison_estimates(found)]
    result = RuleResult(
        own,
        rules,
        tables,
        {str(basis): view for basis, view in views.items()},
        analysis.fits,
        analysis.sizings,
        lines,
        noises,
        comparisons,
        beside,
    )
    return result, told, [*analysis.notices, *notices]


def with_responses(
    rule: RuleResult, basis: Basis
) -> tuple[RuleResult, list[Estimate], list[StudyNotice]]:
    """Return the result with lines of responses on one basis, their estimates and notices.

    Nothing is added where a criterion asked for them, so that all bases have them already.
    """
    if rule.responses or not rule.plan.responses:
        return rule, [], []
    lines, noises = response_results({basis: rule.views[basis]}, rule.plan, rule.readers)
    estimates, notices = response_estimates(lines, noises, rule.plan.analysis.seed)
    return replace(rule, responses=lines, noises=noises), estimates, notices


def against(candidate: str, other: str) -> str:
    """Return what stands for the mode of an estimate of the candidate against another mode."""
    return f"{candidate} against {other}"


def _others(plan: Plan, views: Mapping[Basis, Tables]) -> list[str]:
    """Return the modes read by rule that are neither candidate nor reference."""
    read = set(views["as_found"].opportunities["mode"])
    named = {plan.claim.candidate_mode, plan.claim.reference_mode}
    return [mode.id for mode in plan.modes if mode.id in read - named]


def _against(
    views: Mapping[Basis, Tables], plan: Plan, rules: Sequence[str], mode: str
) -> Comparisons:
    claim = plan.claim.model_copy(update={"reference_mode": mode})
    return compare_all(views, plan.model_copy(update={"claim": claim}), rules)


def _named(one: Estimate, other: str) -> Estimate:
    return replace(one, mode=against(one.mode, other))
