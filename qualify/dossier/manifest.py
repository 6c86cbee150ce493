"""`manifest.json`: digests of what went in and came out, and what computed it."""

import platform
from collections.abc import Mapping
from importlib import metadata

from qualify import __version__
from qualify.files import canonical_json, digest
from qualify.study.result import StudyResult

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


def manifest_bytes(result: StudyResult, outputs: Mapping[str, bytes]) -> bytes:
    """Return the manifest; it lists every output but itself."""
    return canonical_json(
        {
            "format": 1,
            "study": result.inputs.plan.study,
            "revision": result.inputs.declaration.revision,
            "synthetic": result.synthetic,
            "software": {"name": "qualify", "version": __version__},
            "interpreter": {
                "name": platform.python_implementation(),
                "version": platform.python_version(),
            },
            "platform": {"system": platform.system(), "machine": platform.machine()},
            "libraries": {name: metadata.version(name) for name in LIBRARIES},
            "inputs": [{"name": f.name, "sha256": f.sha256} for f in result.inputs.files],
            "outputs": [
                {"name": name, "sha256": digest(content)}
                for name, content in sorted(outputs.items())
            ],
        }
    )
