"""Every bad block is refused, in words that its first line foretells.

The first line of a file in `bad/` is `# expects: ` and a part of the message; each file is
the good block `good.toml` with one thing wrong.
"""

from pathlib import Path

import pytest

from qualify.blocks.checks import check_block
from qualify.blocks.definition import Block
from qualify.errors import InputError
from qualify.files import read_toml, validated

HERE = Path(__file__).parent
BAD = sorted((HERE / "bad").glob("*.toml"))
MARK = "# expects: "


def _check(path: Path) -> None:
    check_block(validated(Block, read_toml(path, path.name), path.name), path.name)


def test_the_good_block_is_accepted():
    _check(HERE / "good.toml")


def test_there_are_bad_blocks_for_every_rule():
    assert len(BAD) >= 18


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_block_is_refused_in_words(path):
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith(MARK)
    with pytest.raises(InputError) as refused:
        _check(path)
    words = str(refused.value)
    assert first.removeprefix(MARK) in words
    assert words.startswith(path.name), "the message names the file"
    assert len(refused.value.faults) == 1, "one thing is wrong, one fault is named"
