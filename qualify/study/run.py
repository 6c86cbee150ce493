"""The way from a study's inputs to its result, as a table of stages."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from qualify.criteria.estimate import Basis, Estimates
from qualify.criteria.verdict import Verdict, judge
from qualify.effort import effort
from qualify.errors import refuse
from qualify.reading.matching import BoxRule
from qualify.reading.rows import Scheme
from qualify.reading.scoring import score
from qualify.reading.tables import Tables
from qualify.study.analysis import analyse
from qualify.study.cautions import study_notices
from qualify.study.check_estimates import check_estimates
from qualify.study.comparison_estimates import comparison_estimates
from qualify.study.comparisons import Comparisons, compare_all
from qualify.study.curve_checks import Cell, CurveCheck, check_curves
from qualify.study.deviations import Deviation
from qualify.study.finding import (
    find_deviations,
    order_of_events,
)
from qualify.study.gathered import Analysis
from qualify.study.headline import Headline, headline_of
from qualify.study.model_estimates import model_estimates
from qualify.study.of_study import study_estimates
from qualify.study.plan import Plan
from qualify.study.readers_analysis import (
    ReadersResult,
    Repeats,
    readers_results,
    repeats_of,
    told_together,
    with_checks,
)
from qualify.study.readers_estimates import readers_estimates, reading_check_estimates
from qualify.study.response_analysis import NoiseResult, ResponseResult, response_results
from qualify.study.response_estimates import response_estimates
from qualify.study.result import StudyInputs, StudyResult
from qualify.study.rule_analysis import analyse_rule, parted, readers_plan, with_responses
from qualify.study.rule_result import RuleResult
from qualify.study.sensitivity import Place, sensitivity_of
from qualify.study.sensitivity_estimates import sensitivity_estimates
from qualify.study.sensitivity_rows import Sensitivity
from qualify.study.told import told_notices, told_sizes
from qualify.study.variations import variations
from qualify.study.views import views_of

Progress = Callable[[str], None]


def run_study(
    inputs: StudyInputs, progress: Progress = lambda _stage: None, *, quick: bool = False
) -> StudyResult:
    """Score, analyse and judge a study.

    `progress` is called with the name of each stage as it begins. `quick`: a first look, with a
    tenth of the simulated trials, and without what only says how far bounds and choices hold.

    Raises
    ------
    InputError : the calls do not fit the key and blocks; see `qualify.reading.scoring.score`.
    """
    state = _State(inputs, quick=quick)
    with effort(quick=quick):
        for name, stage in STAGES:
            progress(name)
            state = _told(stage(state))
    return _result(state)


@dataclass(frozen=True, slots=True)
class _State:
    """What the stages have made so far."""

    inputs: StudyInputs
    quick: bool = False
    tables: Tables | None = None
    by_rule: Tables | None = None
    rule: RuleResult | None = None
    deviations: tuple[Deviation, ...] = ()
    views: Mapping[Basis, Tables] | None = None
    readers: tuple[str, ...] = ()
    analysis: Analysis | None = None
    verdicts: tuple[Verdict, ...] = ()
    headline: Headline = "as_found"
    headline_reason: str = ""
    checks: Mapping[Cell, CurveCheck] | None = None
    responses: Mapping[Cell, ResponseResult] = field(default_factory=dict)
    noises: Mapping[Cell, NoiseResult] = field(default_factory=dict)
    comparisons: Comparisons = field(default_factory=lambda: Comparisons({}, {}))
    together: Mapping[Cell, ReadersResult] = field(default_factory=dict)
    repeats: tuple[Repeats, ...] = ()
    sensitivity: Mapping[Place, Sensitivity] = field(default_factory=dict)


def scheme_of(plan: Plan) -> Scheme:
    """Return what the scoring needs of a plan."""
    rule = plan.matching
    box = None
    if rule.rule == "box":
        assert rule.x_mm is not None
        assert rule.z_mm is not None
        box = BoxRule(rule.x_mm, rule.y_mm, rule.z_mm, rule.add_target_extent)
    return Scheme(
        box=box,
        size_quantity={p.kind: p.size_quantity for p in plan.populations},
        sized=frozenset(p.kind for p in plan.populations if p.sized),
        modes={mode.id: mode.threshold for mode in plan.modes},
        signal=plan.signal,
        read_by=plan.read_by,
        rule_readers=frozenset(plan.rule_readers),
    )


def _told(state: _State) -> _State:
    """Tell sizes that lie far beyond those tested in words, in what a stage has added."""
    if state.analysis is not None and state.views is not None:
        frame = state.views["as_found"].opportunities
        sizes = frame[frame["size_mm"].notna()].groupby("kind")["size_mm"]
        tested = {str(kind): (float(own.min()), float(own.max())) for kind, own in sizes}
        analysis = state.analysis
        analysis.estimates[:] = told_sizes(analysis.estimates, tested)
        analysis.notices[:] = told_notices(analysis.notices, analysis.estimates)
    return state


def _score(state: _State) -> _State:
    inputs = state.inputs
    tables = inputs.finished
    if tables is None:
        if not inputs.calls:
            raise refuse("calls", "no call sheet holds a row", "run the trial first")
        scheme = scheme_of(inputs.plan)
        tables = score(inputs.blocks, inputs.key, inputs.sets, inputs.calls, scheme)
    tables, by_rule = parted(tables, inputs.plan.rule_readers)
    readers = tuple(sorted({str(reader) for reader in tables.opportunities["reader"]}))
    return replace(state, tables=tables, by_rule=by_rule, readers=readers)


def _examine(state: _State) -> _State:
    assert state.tables is not None
    inputs = state.inputs
    deviations = find_deviations(state.tables, inputs)
    views = views_of(state.tables, deviations, inputs.plan)
    return replace(state, deviations=deviations, views=views)


def _analyse(state: _State) -> _State:
    assert state.views is not None
    analysis = analyse(state.views, state.inputs.plan, state.readers)
    analysis.estimates.extend(study_estimates(state.views, state.inputs, state.deviations))
    assert state.tables is not None
    view = state.views["after_remedy"]
    analysis.notices.extend(study_notices(state.tables, view, state.inputs.plan))
    own = readers_plan(state.inputs.plan)
    lines, noises = response_results(state.views, own, state.readers)
    seed = state.inputs.plan.analysis.seed
    estimates, notices = response_estimates(lines, noises, seed)
    analysis.estimates.extend(estimates)
    analysis.notices.extend(notices)
    together = readers_results(state.views, state.inputs.plan)
    estimates, notices = readers_estimates(together)
    analysis.estimates.extend(estimates)
    analysis.notices.extend(notices)
    return replace(state, analysis=analysis, responses=lines, noises=noises, together=together)


def _compare(state: _State) -> _State:
    assert state.views is not None
    assert state.analysis is not None
    found = compare_all(state.views, readers_plan(state.inputs.plan), state.readers)
    state.analysis.estimates.extend(comparison_estimates(found))
    return replace(state, comparisons=found)


def _by_rule(state: _State) -> _State:
    assert state.analysis is not None
    if state.by_rule is None:
        return state
    rule, estimates, notices = analyse_rule(state.by_rule, state.deviations, state.inputs.plan)
    state.analysis.estimates.extend(estimates)
    state.analysis.notices.extend(notices)
    return replace(state, rule=rule)


def _judge(state: _State) -> _State:
    assert state.analysis is not None
    plan = state.inputs.plan
    estimates = Estimates(tuple(state.analysis.estimates))
    verdicts: list[Verdict] = []
    bases: tuple[Basis, ...] = ("as_found", "after_remedy")
    for basis in bases:
        verdicts += judge(
            plan.criteria,
            estimates,
            basis,
            unexamined_limit=plan.not_examined.limit_fraction,
            readers=state.readers,
        )
    headline, reason = headline_of(verdicts, state.deviations, plan.criteria)
    return replace(state, verdicts=tuple(verdicts), headline=headline, headline_reason=reason)


def _check(state: _State) -> _State:
    assert state.analysis is not None
    assert state.views is not None
    fits, basis = state.analysis.fits, state.headline
    checks = check_curves(fits, state.views[basis], state.inputs.plan, basis)
    state.analysis.estimates.extend(check_estimates(checks, fits))
    state.analysis.estimates.extend(model_estimates(checks, fits))
    together = with_checks(state.together, state.views, state.inputs.plan, basis)
    rule = state.rule
    if rule is not None:
        rule, estimates, notices = with_responses(rule, basis)
        state.analysis.estimates.extend(estimates)
        state.analysis.notices.extend(notices)
    assert state.tables is not None
    repeats = repeats_of(state.tables, state.views[basis], state.inputs.plan)
    state.analysis.estimates.extend(reading_check_estimates(together, repeats, basis))
    return replace(state, checks=checks, together=together, repeats=repeats, rule=rule)


def _vary(state: _State) -> _State:
    assert state.analysis is not None
    assert state.views is not None
    assert state.tables is not None
    assert state.checks is not None
    inputs, basis = state.inputs, state.headline
    if state.quick:
        return state

    def rescore(plan: Plan) -> Tables:
        found = score(inputs.blocks, inputs.key, inputs.sets, inputs.calls, scheme_of(plan))
        return parted(found, plan.rule_readers)[0]

    again = rescore if inputs.finished is None else None
    varied = variations(
        state.tables, inputs.plan, state.deviations, basis, state.views[basis], again
    )
    held = sensitivity_of(
        state.views[basis],
        inputs.plan,
        basis,
        state.readers,
        state.checks,
        varied,
        lambda rows: told_together(rows, inputs.plan),
        tuple(state.analysis.estimates),
    )
    state.analysis.estimates.extend(sensitivity_estimates(held, basis))
    return replace(state, sensitivity=held)


STAGES: tuple[tuple[str, Callable[[_State], _State]], ...] = (
    ("matching calls with targets", _score),
    ("looking for deviations", _examine),
    ("fitting curves, counting false calls, sizing", _analyse),
    ("comparing the modes", _compare),
    ("analysing what was read by rule", _by_rule),
    ("holding the results against the criteria", _judge),
    ("checking the curves, and how often their bounds hold", _check),
    ("choosing otherwise what the plan chose", _vary),
)


def _result(state: _State) -> StudyResult:
    assert state.tables is not None
    assert state.views is not None
    assert state.analysis is not None
    assert state.checks is not None
    plan, declaration = state.inputs.plan, state.inputs.declaration
    return StudyResult(
        inputs=state.inputs,
        tables=state.tables,
        views={str(basis): view for basis, view in state.views.items()},
        deviations=state.deviations,
        events=order_of_events(declaration, state.inputs.log),
        fits=state.analysis.fits,
        sizings=state.analysis.sizings,
        checks=state.checks,
        responses=state.responses,
        noises=state.noises,
        comparisons=state.comparisons,
        together=state.together,
        repeats=state.repeats,
        sensitivity=state.sensitivity,
        rule=state.rule,
        quick=state.quick,
        estimates=Estimates(tuple(state.analysis.estimates)),
        verdicts=state.verdicts,
        notices=tuple(state.analysis.notices),
        readers=state.readers,
        headline=state.headline,
        headline_reason=state.headline_reason,
        synthetic=declaration.invented or plan.signal != "measured" or plan.read_by == "model",
    )
