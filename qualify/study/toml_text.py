"""Models as TOML 1.0 with their explanations as comments.

Each key stands under its explanation. In a list the first item is explained (of targets, the
first of each kind); the others repeat nothing. Keys that may be left out and are empty stand
behind `#`. What is written reads back as the same model.
"""

import re
import textwrap
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from qualify.study.flat import bare, is_model, item_of
from qualify.study.words import explanation

WIDTH = 92
_ESCAPES = {
    '"': '\\"',
    "\\": "\\\\",
    "\b": "\\b",
    "\t": "\\t",
    "\n": "\\n",
    "\f": "\\f",
    "\r": "\\r",
}
_CONTROL = re.compile(r'["\\\x00-\x1f\x7f]')


def to_toml(model: BaseModel, *, head: str) -> str:
    """Return `model` as TOML; `head` stands above it as comment."""
    lines = [*_comment(head), ""]
    lines += _table(model, ())
    return "\n".join(lines).rstrip("\n") + "\n"


def toml_value(value: Any) -> str:
    """Return one value as TOML: text, number, yes or no, day, array, or inline table."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return f'"{_CONTROL.sub(_escaped, value)}"'
    if isinstance(value, tuple):
        inside = "".join(f"  {toml_value(item)},\n" for item in value)
        return f"[\n{inside}]" if value else "[]"
    if isinstance(value, BaseModel):
        filled = ((name, getattr(value, name)) for name in type(value).model_fields)
        pairs = (f"{name} = {toml_value(item)}" for name, item in filled if item is not None)
        return f"{{ {', '.join(pairs)} }}"
    msg = f"no TOML for {type(value).__name__}"
    raise TypeError(msg)


def _escaped(match: re.Match[str]) -> str:
    sign = match[0]
    return _ESCAPES.get(sign, f"\\u{ord(sign):04X}")


def _comment(text: str) -> Iterator[str]:
    for line in text.splitlines():
        clean = "".join(sign if sign.isprintable() else " " for sign in line)
        wrapped = textwrap.wrap(clean, WIDTH, break_long_words=False, break_on_hyphens=False)
        yield from (f"# {part}" for part in wrapped or [""])


def _told(model: BaseModel, name: str) -> str:
    field = type(model).model_fields[name]
    told, kind = explanation(type(model), name), bare(field.annotation)
    if get_origin(kind) is Literal and len(get_args(kind)) > 1:
        told += f" ({' | '.join(str(choice) for choice in get_args(kind))})"
    return told if field.is_required() else f"{told} [not required]"


def _table(model: BaseModel, path: tuple[str, ...]) -> Iterator[str]:
    """Yield the lines of a table: its own keys, then its tables, then its lists of tables."""
    fields = type(model).model_fields
    tables = [name for name, field in fields.items() if is_model(bare(field.annotation))]
    lists = [name for name, field in fields.items() if _holds_tables(field)]
    for name in fields:
        if name not in tables and name not in lists:
            yield from _key(model, name, explained=True)
    for name in tables:
        header, inside = ".".join((*path, name)), getattr(model, name)
        yield from ("", *_comment(_told(model, name)))
        yield f"[{header}]" if inside is not None else f"# [{header}]"
        if inside is not None:
            yield from _table(inside, (*path, name))
    for name in lists:
        yield from ("", *_comment(_told(model, name)))
        yield from _list(getattr(model, name), ".".join((*path, name)))


def _holds_tables(field: FieldInfo) -> bool:
    item = item_of(field)
    return item is not None and item is not str and get_origin(item) is not Literal


def _key(model: BaseModel, name: str, *, explained: bool) -> Iterator[str]:
    value = getattr(model, name)
    if explained:
        yield from _comment(_told(model, name))
    if value is not None:
        yield f"{name} = {toml_value(value)}"
    elif explained:
        yield f"# {name} ="


def _list(items: Sequence[BaseModel], header: str) -> Iterator[str]:
    """Yield a list of tables, the first item of each kind explained."""
    if not items:
        yield f"# [[{header}]]"
    known: set[type] = set()
    for number, item in enumerate(items):
        explained = type(item) not in known
        known.add(type(item))
        yield from ("",) if number else ()
        yield f"[[{header}]]"
        for name, field in type(item).model_fields.items():
            kind = bare(field.annotation)
            yield from _key(item, name, explained=explained)
            if explained and is_model(kind) and kind not in known:
                known.add(kind)
                yield from _comment("in braces:")
                for inner in kind.model_fields:
                    yield from _comment(f"  {inner}: {explanation(kind, inner)}")
