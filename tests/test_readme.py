"""README.md keeps its promises of form."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_quick_start_holds_exactly_two_lines():
    section = README.split("## Quick start", 1)[1]
    block = re.search(r"```\w*\n(.*?)```", section, re.DOTALL)
    lines = block.group(1).strip().splitlines()
    assert len(lines) == 2
    assert all("python3 -m venv" in line and "-c constraints.txt" in line for line in lines)
    assert lines[0].endswith("qualify demo")
    assert lines[1].endswith("-m pytest")


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)#:]+)\)", README))
def test_links_lead_somewhere(link):
    assert (ROOT / link).exists()


def test_constraints_name_no_address():
    text = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    assert "http" not in text
    assert re.search(r"^numpy==2\.[234]\.", text, re.MULTILINE)


def test_the_words_that_never_bend():
    """Nowhere does the product say of a technique that it is qualified."""
    for path in [*ROOT.glob("*.md"), *(ROOT / "qualify").rglob("*.py")]:
        text = " ".join(path.read_text(encoding="utf-8").split()).lower()
        for words in ("mode is qualified", "procedure is qualified", "technique is qualified,"):
            assert words not in text, f"{path.name}: {words}"
