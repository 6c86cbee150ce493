"""The check of a model as a file, and back."""

import json
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from qualify.errors import Fault, InputError, refuse
from qualify.files import faults_of, read_text
from qualify.simulation.words import MODEL
from qualify.study.model_result import WHAT, ModelCheck

AROUND = ("what", "signal", "software", "model", "left_out", "draws")


def load_model_check(path: Path, name: str | None = None) -> ModelCheck:
    """Read the file that `qualify model` writes.

    Raises
    ------
    InputError : where it is no such file, or one of another model.
    """
    name = name or str(path)
    try:
        found: Any = json.loads(read_text(path, name))
    except json.JSONDecodeError as error:
        raise refuse(name, f"is not JSON: {error}", "give what qualify model wrote") from None
    if not isinstance(found, dict) or found.get("what") != WHAT:
        raise refuse(name, "is no check of a model", "give the model.json of qualify model")
    if found.get("model") != MODEL:
        raise refuse(
            f"{name}: model", f"found '{found.get('model')}'", f"check again with '{MODEL}'"
        )
    told = {key: value for key, value in found.items() if key not in AROUND}
    for row in told.get("checks", []):
        if isinstance(row, dict):
            row.pop("holds", None)
    try:
        check = TypeAdapter(ModelCheck).validate_python(told)
    except ValidationError as error:
        anew = Fault(name, "is damaged or of another version", "run qualify model again")
        raise InputError([anew, *faults_of(error, name)]) from None
    if found.get("signal") != "simulated" or not check.checks or not check.faces:
        raise refuse(name, "is not whole", "run qualify model again")
    return check
