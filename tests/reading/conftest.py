"""The key and the sets of the small plate."""

import pytest

from qualify.reading.key import KeyRow, SetRow


@pytest.fixture
def key() -> list[KeyRow]:
    return [KeyRow(code="QKZT", block="plate", flipped=False)]


@pytest.fixture
def sets() -> list[SetRow]:
    return [
        SetRow.model_validate(
            {"target": t, "block": "plate", "set": "blind", "from_date": "2026-01-01"}
        )
        for t in ("H1", "H2")
    ]
