"""The command on probability of detection from recorded responses."""

from pathlib import Path

import typer

from qualify.cli import options as o
from qualify.cli.common import NO_NUMBER, AsJson, Table, answering, quoted, say_next, show, waiting


def write_example_responses(folder: Path) -> None:
    """Write invented responses and peaks of blanks, and a study that enters with them."""
    from qualify.errors import refuse
    from qualify.files import write_folder
    from qualify.study.example_responses import example_response_files

    files = example_response_files()
    if folder.exists() and (folder.is_file() or any(folder.iterdir())):
        raise refuse(str(folder), "is there already", "give a new or empty folder")
    write_folder(folder, files, mark="responses.csv")
    typer.echo(f"wrote {', '.join(sorted(files))} in {folder} (invented data)", err=True)
    table, blanks = (quoted(folder / name) for name in ("responses.csv", "blanks.csv"))
    say_next(
        f"qualify pod response {table} --size diameter_mm --response amplitude_db --floor 12 "
        f"--ceiling 30 --noise {blanks} --noise-floor 6 --rate 0.02 --at 0.6"
    )


def pod_response(
    table: Table,
    size: o.SizeColumn,
    response: o.ResponseColumn,
    threshold: o.Threshold = None,
    floor: o.Floor = None,
    ceiling: o.Ceiling = None,
    floors: o.Floors = None,
    ceilings: o.Ceilings = None,
    noise: o.Noise = None,
    noise_column: o.NoiseColumn = None,
    noise_floor: o.NoiseFloor = None,
    rate: o.Rate = None,
    law: o.LawOption = o.Law.gumbel,
    size_unit: o.SizeUnit = None,
    response_unit: o.ResponseUnitOption = None,
    scale: o.ResponseScaleOption = None,
    target: o.RepeatedTarget = None,
    reader: o.Reader = None,
    growing_spread: o.Growing = False,
    bound: o.ResponseBoundOption = o.ResponseBound.auto,
    confidence: o.Confidence = 0.95,
    seed: o.Seed = 1,
    check_bound: o.CheckBound = False,
    replicates: o.Replicates = None,
    at: o.At = None,
    as_json: AsJson = False,
) -> None:
    """Fit a line to responses, and tell a50, a90 and its bound at a threshold.

    Responses at or below the floor, and missed targets, count as at most the floor; those at or
    above the ceiling as at least the ceiling. With the peaks of blank units (--noise) the
    false-call rate at the threshold is told, and with a declared --rate the POD at that rate, the
    uncertainty of the threshold carried through.
    """
    with answering(writes=False):
        from qualify.errors import refuse
        from qualify.raw_tables import read_table
        from qualify.study.answers_noise import blanks_of
        from qualify.study.answers_response import ResponseAsked, answered
        from qualify.study.answers_response import pod_response as answer
        from qualify.study.answers_response_rows import ResponseColumns, same_unit, unit_of_response
        from qualify.study.answers_response_words import response_lines

        read = read_table(table)
        unit = None if response_unit is None else response_unit.value
        blanks = None
        if noise is not None:
            column = noise_column or response
            own = unit
            if own is None and response in read.columns:
                own = unit_of_response(read, response, None)
                same_unit(column, response, own)
            blanks = blanks_of(read_table(noise), column, unit=own,
                               floor=noise_floor, unrecorded=floor, law=law.value,
                               rate=rate)  # fmt: skip
        elif rate is not None or noise_column is not None:
            raise refuse("pod response", "--rate or --noise-column without --noise", "give --noise")
        document = answer(
            read,
            ResponseColumns(size, response, target, reader, floors, ceilings, floor, ceiling),
            ResponseAsked(
                threshold=threshold,
                size_unit=None if size_unit is None else size_unit.value,
                response_unit=unit,
                scale=None if scale is None else scale.value,
                bound=bound.value,
                confidence=confidence,
                seed=seed,
                growing=growing_spread,
                check_bound=check_bound,
                replicates=replicates,
                at=tuple(at or ()),
                blanks=blanks,
            ),
            waiting,
        )
        show(document, as_json, lambda: response_lines(document))
        if document["a90_95"] is None:
            say_next("read the notes: they say what is missing")
            if not answered(document):
                raise typer.Exit(NO_NUMBER)
            return
        step = "look at the checks before a claim rests on the line"
        say_next(step if blanks else "give the peaks of blank units by --noise: their false calls")
