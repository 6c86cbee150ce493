"""The commands `freeze`, `seal` and `unseal`: what was done when, in the log of a study."""

import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import AsJson, Study, answering, quoted, say_next, show

if TYPE_CHECKING:
    from qualify.study.order import Step

By = Annotated[str, typer.Option(help="Coded person who does it.", show_default=False)]
SHOWN = 12


def freeze(study: Study, by: By, as_json: AsJson = False) -> None:
    """Freeze plan, thresholds and software: what changes later is named in the dossier.

    Freeze before truth is opened; of several freezes the last one before it counts.
    """
    with answering():
        from qualify.study import order

        step = order.freeze(study, by=by, at=_now())
        show(_document(step), as_json, lambda: [*_head(step, "frozen"), *_parts(step)])
        here = quoted(study)
        say_next(
            f"qualify seal {here} --by CUSTODIAN, before the trial begins"
            if step.counts
            else f"qualify dossier {here}"
        )


def seal(study: Study, by: By, as_json: AsJson = False) -> None:
    """Seal the truth: key, history of sets, and the blocks that the key names.

    Writes truth.salt, which its custodian must take away: whoever holds it can try guesses.
    """
    with answering():
        from qualify.study import order
        from qualify.study.order_files import SALT

        step = order.seal(study, by=by, at=_now(), salt=secrets.token_bytes(32))
        show(_document(step) | {"salt_file": SALT}, as_json, lambda: _sealed(step, SALT))
        say_next(
            f"move {SALT} to its custodian, away from readers; when all calls are in: qualify "
            f"unseal {quoted(study)} --study {quoted(step.study)} --by CUSTODIAN --by WITNESS"
        )


def unseal(
    path: Study,
    study: Annotated[
        str, typer.Option("--study", help="Id of the study, so that no other is opened.")
    ],
    by: Annotated[
        list[str], typer.Option(help="Coded person, given twice: a custodian and a witness.")
    ],
    as_json: AsJson = False,
) -> None:
    """Open the truth before two persons: check the seal, publish its salt, record the calls.

    It opens once. All call sheets must be in; truth.salt must be back beside the study.
    """
    with answering():
        from qualify.study import order

        step = order.unseal(path, study=study, by=by, at=_now())
        show(_document(step), as_json, lambda: _opened(step))
        say_next(f"qualify dossier {quoted(path)}")


def _now() -> datetime:
    return datetime.now(UTC)


def _document(step: "Step") -> dict[str, Any]:
    return {
        "study": step.study,
        "kind": step.kind,
        "entry": step.number,
        "at": step.at,
        "by": list(step.by),
        "what": dict(step.what),
        "counts": step.counts,
        "remarks": list(step.remarks),
        "log_sha256": step.log_sha256,
    }


def _head(step: "Step", done: str) -> list[str]:
    return [
        f"{done}: {step.study}, {step.at}, by {' and '.join(step.by)} (entry {step.number})",
        *step.remarks,
        f"digest of the log now: {step.log_sha256}",
        "have somebody else note it: whoever keeps a log can write it anew as a whole",
    ]


def _parts(step: "Step") -> list[str]:
    parts = {**step.what["parts"], "software": step.what["software"]["sha256"]}
    return [f"  {name}: {sha256[:SHOWN]}…" for name, sha256 in parts.items()]


def _sealed(step: "Step", salt: str) -> list[str]:
    return [
        *_head(step, "truth sealed"),
        f"  {len(step.what['files'])} files: {', '.join(step.what['files'])}",
        f"keep {salt} with the custodian and away from readers: whoever holds it can try guesses "
        "of the truth, and without it truth can't be opened",
    ]


def _opened(step: "Step") -> list[str]:
    sheets = step.what["call_sheets"]
    return [
        *_head(step, "truth opened"),
        f"  the truth is what was sealed (entry {step.what['seal']})",
        *(f"  {name}: {sha256[:SHOWN]}…" for name, sha256 in sheets.items()),
    ]
