"""What a freeze holds fast: a digest for each part of the plan, so that a change is named."""

import math
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from qualify.files import canonical_json, digest
from qualify.study.plan import Plan

WHOLE, REST, SOFTWARE = "plan", "rest", "software"
OWN_FIELDS = ("matching", "criteria", "analysis", "populations", "comparison", "responses")
OF_A_THRESHOLD = ("threshold", "threshold_unit", "reading_rule")
OPTIONAL_FILES = (
    "reading.toml",
    "imaging.toml",
    "thresholds.json",
    "simulation.toml",
    "pilot.json",
)
"""Files of the reading stage, beside the plan; frozen where they exist."""
PART_WORDS = {
    "matching": "the matching rule",
    "criteria": "the criteria",
    "thresholds": "thresholds and reading rules",
    "analysis": "the analysis of POD",
    "populations": "the populations",
    "comparison": "the comparison of modes",
    "responses": "the analysis of responses",
    REST: "the claim, the modes or another part of the plan",
    WHOLE: "the plan",
    SOFTWARE: "the software",
}
EXACT_TO = 2**53


def plan_parts(plan: Plan) -> dict[str, str]:
    """Return the SHA-256 digest of each part of a plan, and of the whole (`plan`).

    Digests are over values (canonical JSON), those at their default left out, so that neither a
    comment nor the way in, TOML or workbook, changes one.
    """
    values = plan.model_dump(mode="json", exclude_defaults=True)
    own = {name: values.get(name) for name in OWN_FIELDS}
    own["thresholds"] = [
        {"id": mode.id, **{name: getattr(mode, name) for name in OF_A_THRESHOLD}}
        for mode in plan.modes
    ]
    rest = {name: value for name, value in values.items() if name not in OWN_FIELDS}
    rest["modes"] = [
        {name: value for name, value in mode.items() if name not in OF_A_THRESHOLD}
        for mode in values["modes"]
    ]
    return {name: digest_of(value) for name, value in {**own, REST: rest, WHOLE: values}.items()}


def rows_digest(rows: list[BaseModel]) -> str:
    """Return the digest of validated rows, empty cells left out."""
    return digest_of([row.model_dump(mode="json", exclude_none=True) for row in rows])


def digest_of(value: Any) -> str:
    """Return the SHA-256 digest of a plain value as canonical JSON."""
    return digest(canonical_json(_in_domain(value)))


def _in_domain(value: Any) -> Any:
    """Return a value with numbers that JSON can't hold exactly as text."""
    if isinstance(value, dict):
        return {key: _in_domain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_in_domain(item) for item in value]
    if isinstance(value, bool):
        return value
    if isinstance(value, int) and abs(value) >= EXACT_TO:
        return f"{value}"
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    return value


def words_of(part: str) -> str:
    """Return a part in words; a file by its name."""
    return PART_WORDS.get(part, part)


def changed_parts(frozen: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """Return the parts that differ, the whole plan only where no part of it is named.

    A file of the reading stage that was put in or taken out differs. A part that the freeze of
    another version did not know is left out.
    """
    both = [name for name in now if name in frozen and name != WHOLE]
    changed = [name for name in both if frozen[name] != now[name]]
    changed += [name for name in OPTIONAL_FILES if (name in frozen) != (name in now)]
    if frozen.get(WHOLE) != now.get(WHOLE) and not any(n in PART_WORDS for n in changed):
        changed.append(WHOLE)
    return changed
