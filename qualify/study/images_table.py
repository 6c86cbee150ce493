"""One table across recordings: what each mode shows at each place looked at."""

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from qualify.errors import refuse
from qualify.files import read_bytes

Document = dict[str, Any]
TABLE = "images.csv"
OF_RECORDING = (
    "recording", "samples_sha256", "signal", "block", "position_mm", "accepted",
)  # fmt: skip
OF_MODE = (
    "mode", "unit", "threshold", "covered_fraction", "random_99", "control_found",
    "control_error_mm", "control_level",
)  # fmt: skip
OF_PLACE = (
    "place", "level", "level_x_mm", "level_z_mm", "noise_db", "snr_db", "twin_snr_db", "excess_db",
    "twin_largest", "reason",
)  # fmt: skip


def images_table(documents: Sequence[Document]) -> bytes:
    """Return the table as CSV: a row for each recording, mode and place looked at.

    Parameters
    ----------
    documents : of `images.json`, each with the name of its `recording`.

    Notes
    -----
    `level` is the largest value of the place, in the `unit` of the mode. What does not exist stays
    empty; `reason` says why. Without places a mode has one row.
    """
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow((*OF_RECORDING, *OF_MODE, *OF_PLACE))
    for document in documents:
        head = [document[key] for key in OF_RECORDING]
        for mode in document["modes"]:
            about = [mode.get(key) for key in OF_MODE]
            places: list[Document] = mode["looked_at"] or [{}]
            for place in places:
                rows.writerow([_cell(value) for value in (*head, *about, *_of_place(place))])
    return out.getvalue().encode()


def check_table(path: Path) -> None:
    """Refuse to replace a file of that name that is no table of an earlier run.

    Raises
    ------
    InputError : where it is something else.
    """
    head = images_table(())
    if path.exists() and not read_bytes(path).startswith(head):
        raise refuse(
            str(path),
            "is there already, and is no table of this command",
            "move it away, or give another folder",
        )


def _of_place(place: Document) -> Iterator[Any]:
    peak, noise = place.get("peak") or {}, place.get("noise") or {}
    yield place.get("name")
    yield from (peak.get(key) for key in ("value", "x_mm", "z_mm"))
    yield noise.get("rms_db")
    yield from (place.get(key) for key in OF_PLACE[5:])


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)
