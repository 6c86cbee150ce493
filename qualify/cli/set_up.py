"""The command `set-up`: what the modes make of set-up blocks, before anything is asked of them."""

import csv
import io
from pathlib import Path
from typing import Annotated, Any

import typer

from qualify.cli.common import AsJson, answering, quoted, say_next, show

MARK = "set_up.json"


def set_up(
    study: Annotated[
        Path,
        typer.Argument(
            help="Simulation file (TOML), or a folder with a simulation.toml.", show_default=False
        ),
    ],
    imaging: Annotated[
        Path, typer.Option(help="Region and modes (TOML): qualify example imaging.")
    ],
    out: Annotated[Path, typer.Option(help="Folder to write.", show_default=False)],
    as_json: AsJson = False,
) -> None:
    """Show each mode on set-up blocks: targets beside a flaw-free twin, ring-down, resolution.

    The recordings are simulated in memory, each target under the array beside the same place
    without it.
    """
    with answering():
        from qualify.errors import refuse
        from qualify.files import canonical_json, check_folder, read_toml, validated, write_folder
        from qualify.study import set_up as answers
        from qualify.study.imaging_plan import ImagingPlan
        from qualify.study.set_up_pairs import check_modes, pairs_of
        from qualify.study.simulation import load_simulation

        loaded = load_simulation(study)
        plan = validated(ImagingPlan, read_toml(imaging), str(imaging))
        check_folder(out, mark=MARK)
        check_modes(loaded, plan, str(imaging))
        rows, modes = answers.set_up(
            pairs_of(loaded), plan, lambda words: typer.echo(f"  {words}", err=True)
        )
        if not rows:
            raise refuse(
                f"{loaded.path}: positions",
                "no target stands under the middle of the array anywhere",
                'give targets = "each" for the set-up blocks',
            )
        document = answers.document(loaded.plan.study, rows, modes)
        files = {"set_up.csv": _csv(document["targets"]), "modes.csv": _csv(document["modes"])}
        document["files"] = sorted(files)
        write_folder(out, files | {MARK: canonical_json(document)}, mark=MARK)
        show(document, as_json, lambda: _lines(document))
        say_next(f"look at {quoted(out / 'set_up.csv')}")


def _csv(rows: list[dict[str, Any]]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({k: "" if v is None else _plain(v) for k, v in row.items()})
    return text.getvalue().encode()


def _plain(value: Any) -> Any:
    return f"{value:.6g}" if isinstance(value, float) else value


def _lines(document: dict[str, Any]) -> list[str]:
    lines = [f"SIMULATED: set-up blocks of {document['study']}, {document['model']}"]
    for mode in document["modes"]:
        mine = [
            row
            for row in document["targets"]
            if (row["block"], row["mode"]) == (mode["block"], mode["mode"])
        ]
        lines.append(f"{mode['block']}, {mode['mode']}: {mode['seen']} of {mode['targets']} seen")
        lines.append(f"  {_zone(mode, document)}")
        lines += [f"  {_row(row)}" for row in sorted(mine, key=lambda row: row["depth_mm"])]
    lines += [f"caution: {text}" for text in document["cautions"]]
    lines.append("left out by the model: " + "; ".join(document["left_out"]))
    return lines


def _zone(mode: dict[str, Any], document: dict[str, Any]) -> str:
    shallowest, deep = mode["shallowest_mm"], mode["ring_down_mm"]
    seen = (
        "the deepest target is not seen"
        if shallowest is None
        else f"every target from {shallowest:.2f} mm down is seen"
    )
    if deep is None:
        return f"{seen}; ring-down: {mode['reason']}"
    return (
        f"{seen}; ring-down alone reaches a deep target less {document['margin_db']:g} dB down to "
        f"{deep:.2f} mm"
    )


def _row(row: dict[str, Any]) -> str:
    head = f"{row['target']}, {row['depth_mm']:.2f} mm: "
    if row["seen"] is None:
        return head + f"not covered ({row['reason']})"
    unit = " dB" if row["unit"] == "db" else ""
    form = ".1f" if unit else ".2f"
    told = f"{format(row['level'], form)}{unit}, without it {format(row['twin_level'], form)}{unit}"
    if not row["seen"]:
        return f"{head}not seen: {row['reason']} ({told})"
    widths = " x ".join(
        "not closed" if row[key] is None else f"{row[key]:.2f}"
        for key in ("width_x_mm", "width_z_mm")
    )
    if row["excess_db"] is not None:
        told += f", excess {row['excess_db']:.1f} dB"
    depth = "" if row["depth_error_mm"] is None else f"; depth {row['depth_error_mm']:+.1f} mm"
    return f"{head}{told}; at half {widths} mm{depth}"
