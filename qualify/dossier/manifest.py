"""`manifest.json`: digests of what went in and came out, and what computed it."""

import json
import platform
from collections.abc import Mapping
from importlib import metadata
from typing import Any

from qualify.files import canonical_json, digest
from qualify.study.order_files import program
from qualify.study.result import StudyInputs, StudyResult

LIBRARIES = (
    "matplotlib",
    "numpy",
    "pandas",
    "pikepdf",
    "pydantic",
    "reportlab",
    "rfc8785",
    "scipy",
)


def made_from(inputs: StudyInputs, *, quick: bool, images: str | None) -> dict[str, Any]:
    """Return all that the outputs depend on: inputs, software, and what it runs on.

    images : digest of what the images behind the pictures depend on; None where none is shown.
    """
    return {
        "format": 1,
        "study": inputs.plan.study,
        "revision": inputs.declaration.revision,
        "quick": quick,
        "software": {"name": "qualify", "version": program().version, "sha256": program().sha256},
        "interpreter": {
            "name": platform.python_implementation(),
            "version": platform.python_version(),
        },
        "platform": {"system": platform.system(), "machine": platform.machine()},
        "libraries": {name: metadata.version(name) for name in LIBRARIES},
        "inputs": [{"name": f.name, "sha256": f.sha256} for f in inputs.files],
        "images_sha256": images,
    }


def manifest_bytes(result: StudyResult, outputs: Mapping[str, bytes]) -> bytes:
    """Return the manifest; it lists every output but itself."""
    told = made_from(result.inputs, quick=result.quick, images=result.images)
    listed = [
        {"name": name, "sha256": digest(content)} for name, content in sorted(outputs.items())
    ]
    return canonical_json(told | {"synthetic": result.synthetic, "outputs": listed})


def outputs_if_same(manifest: bytes, told: Mapping[str, Any]) -> dict[str, str] | None:
    """Return the digests of outputs by name from a manifest; None if made from something else.

    told : what they would be made from now, of `made_from`.
    """
    try:
        held = json.loads(manifest)
        same = all(held[key] == value for key, value in told.items())
        outputs = {str(one["name"]): str(one["sha256"]) for one in held["outputs"]}
    except (ValueError, KeyError, TypeError):
        return None
    return outputs if same else None
