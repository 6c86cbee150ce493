"""TOML as people write it: aligned keys, quantities as one-line tables, fixed decimals."""

import json
from collections.abc import Iterable, Sequence


def text(words: str) -> str:
    """Return a TOML basic string (its escapes are those of JSON)."""
    return json.dumps(words, ensure_ascii=False)


def keys(pairs: Iterable[tuple[str, str]]) -> str:
    """Return lines `key = value`, one for each pair of a key and a ready TOML value."""
    return "".join(f"{key} = {value}\n" for key, value in pairs)


def inline(pairs: Iterable[tuple[str, str]]) -> str:
    """Return an inline table of ready TOML values."""
    return "{ " + ", ".join(f"{key} = {value}" for key, value in pairs) + " }"


def array(items: Sequence[str]) -> str:
    """Return an array with one item a line."""
    return "[\n" + "".join(f"  {item},\n" for item in items) + "]"


def comment(words: str) -> str:
    """Return lines of comment."""
    return "".join(f"# {line}".rstrip() + "\n" for line in words.strip().splitlines())
