"""Options of the commands on one table, each with its help."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, TypeAlias

import typer

from qualify.cli.common import Unit


class Link(StrEnum):
    """Link functions of the POD curve."""

    logit = "logit"
    probit = "probit"
    cloglog = "cloglog"
    loglog = "loglog"


class Scale(StrEnum):
    """Size axis of the POD curve."""

    log = "log"
    linear = "linear"


class Bound(StrEnum):
    """Method of the bound on a90."""

    calibrated = "calibrated"
    likelihood = "likelihood"
    wald = "wald"


def _column(words: str) -> Any:
    return typer.Option(help=f"Column {words}", show_default=False)


SizeColumn: TypeAlias = Annotated[str, _column("of sizes.")]
HitColumn: TypeAlias = Annotated[str, _column("of hits.")]
Trials: TypeAlias = Annotated[str | None, _column("of trials, where --hit holds numbers of hits.")]
Target: TypeAlias = Annotated[
    str | None, _column("of target ids: finds repeats; with --reader, all readers together.")
]
Reader: TypeAlias = Annotated[str | None, _column("of readers; each is told apart.")]
Covariate: TypeAlias = Annotated[str | None, _column("that may matter beside size, as depth.")]
SizeUncertainty: TypeAlias = Annotated[
    str | None, _column("of standard uncertainties of the sizes, in their unit.")
]
SizeUnit: TypeAlias = Annotated[
    Unit | None,
    typer.Option(help="Unit of sizes; taken from a name that ends in _mm, _in or _inch."),
]
LinkOption: TypeAlias = Annotated[Link, typer.Option("--link", help="Link function.")]
ScaleOption: TypeAlias = Annotated[Scale, typer.Option("--scale", help="Size axis.")]
BoundOption: TypeAlias = Annotated[Bound, typer.Option("--bound", help="Method of the bound.")]
Confidence: TypeAlias = Annotated[
    float, typer.Option(min=0.5001, max=0.9999, help="One-sided confidence.")
]
Seed: TypeAlias = Annotated[int, typer.Option(min=0, help="Seed of the simulation; recorded.")]
CheckBound: TypeAlias = Annotated[
    bool, typer.Option("--check-bound", help="How often the bound holds, simulated.")
]
Replicates: TypeAlias = Annotated[
    int | None,
    typer.Option(min=100, help="Trials that --check-bound simulates for each curve; 1000."),
]
AllBounds: TypeAlias = Annotated[
    bool, typer.Option("--all-bounds", help="Other bounds too: r*, Firth, whole curve, ...")
]
Models: TypeAlias = Annotated[
    bool, typer.Option("--models", help="Eight models side by side: links, log size, size.")
]
Plateau: TypeAlias = Annotated[
    bool, typer.Option("--plateau", help="A curve that may level off below 1.")
]
BlankUnits: TypeAlias = Annotated[
    int | None, typer.Option(min=1, help="Blank units, for the floor of --plateau.")
]
BlankCalled: TypeAlias = Annotated[int | None, typer.Option(min=0, help="How many were called.")]
At: TypeAlias = Annotated[
    list[float] | None, typer.Option(help="Size at which POD is wanted; may be repeated.")
]


class ResponseBound(StrEnum):
    """Method of the bound on a90 from responses."""

    auto = "auto"
    exact = "exact"
    calibrated = "calibrated"
    likelihood = "likelihood"
    wald = "wald"


class ResponseUnitName(StrEnum):
    """Unit of a column of responses."""

    db = "db"
    linear = "linear"
    coherence = "coherence"


class ResponseScale(StrEnum):
    """Axes of size and of response."""

    log_log = "log-log"
    log_linear = "log-linear"
    linear_log = "linear-log"
    linear_linear = "linear-linear"
    log_logit = "log-logit"
    linear_logit = "linear-logit"


class Law(StrEnum):
    """Law of the peak noise of a blank unit."""

    gumbel = "gumbel"
    gev = "gev"
    empirical = "empirical"


class Axis(StrEnum):
    """Axis of response."""

    linear = "linear"
    log = "log"
    logit = "logit"


ResponseColumn: TypeAlias = Annotated[
    str, _column("of responses; an empty cell is a missed target.")
]
ResponseUnitOption: TypeAlias = Annotated[
    ResponseUnitName | None,
    typer.Option(
        "--response-unit",
        help="Unit of responses; taken from a name that ends in _db or coherence, else linear.",
    ),
]
ResponseScaleOption: TypeAlias = Annotated[
    ResponseScale | None,
    typer.Option("--scale", help="Axes of size and response; by unit unless said otherwise."),
]
ResponseBoundOption: TypeAlias = Annotated[
    ResponseBound,
    typer.Option("--bound", help="Method of the bound; auto: exact if nothing is censored."),
]
Threshold: TypeAlias = Annotated[
    float | None,
    typer.Option(help="Decision threshold; may follow from --noise and --rate."),
]
Floor: TypeAlias = Annotated[
    float | None, typer.Option(help="Responses at or below it are lost in noise.")
]
Ceiling: TypeAlias = Annotated[
    float | None, typer.Option(help="Responses at or above it are saturated.")
]
Floors: TypeAlias = Annotated[str | None, _column("of floors, where they differ by row.")]
Ceilings: TypeAlias = Annotated[str | None, _column("of ceilings, where they differ by row.")]
RepeatedTarget: TypeAlias = Annotated[
    str | None, _column("of target ids, where targets have several responses.")
]
Growing: TypeAlias = Annotated[
    bool, typer.Option("--growing-spread", help="Let the spread vary with size.")
]
Noise: TypeAlias = Annotated[
    Path | None, typer.Option(help="Table of peaks of blank units, one a row.")
]
NoiseColumn: TypeAlias = Annotated[
    str | None, _column("of peaks in --noise; the same name as --response unless told.")
]
NoiseFloor: TypeAlias = Annotated[
    float | None, typer.Option(help="Peaks of blank units at or below it were not recorded.")
]
Rate: TypeAlias = Annotated[
    float | None, typer.Option(min=1e-6, max=0.5, help="Declared false-call rate per blank unit.")
]
LawOption: TypeAlias = Annotated[Law, typer.Option("--law", help="Law of the noise peaks.")]
