"""Models as flat cells with dotted names, and back.

A spreadsheet has one level: `claim.question` is the cell of the question in the claim, and
`diameter_mm.nominal` the cell of a hole's drawing diameter. Lists of models have no cells
here: each becomes a sheet of its own.
"""

import types
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from qualify.study.words import explanation

Scalar = str | int | float | bool | date
Wants = Literal["text", "number", "whole number", "date", "yes or no", "choice"]


@dataclass(frozen=True, slots=True)
class Column:
    """One flat cell of a model.

    Attributes
    ----------
    name : dotted name, as `diameter_mm.nominal`.
    description : its explanation for whoever fills it in.
    required : whether every row must fill it.
    choices : the values that may stand in it, None where it is free.
    wants : what kind of value it takes.
    """

    name: str
    description: str
    required: bool
    choices: tuple[str, ...] | None
    wants: Wants


def flatten(model: BaseModel) -> dict[str, Scalar]:
    """Return the filled cells of a model by dotted name, lists left out."""
    cells: dict[str, Scalar] = {}
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            cells |= {f"{name}.{inner}": cell for inner, cell in flatten(value).items()}
        elif value is not None and not isinstance(value, tuple):
            cells[name] = value
    return cells


def unflatten(cells: Mapping[str, Any], model: type[BaseModel] | None = None) -> dict[str, Any]:
    """Return the nested dictionary of flat cells.

    With `model`, the parts that it requires are there even if all of their cells are empty,
    so that each missing cell is named and not only the part.
    """
    nested: dict[str, Any] = {} if model is None else _required_parts(model)
    for name, value in cells.items():
        *parts, last = name.split(".")
        inside = nested
        for part in parts:
            inside = inside.setdefault(part, {})
        inside[last] = value
    return nested


def _required_parts(model: type[BaseModel]) -> dict[str, Any]:
    parts = {}
    for name, field in model.model_fields.items():
        kind = bare(field.annotation)
        if is_model(kind) and field.is_required():
            parts[name] = _required_parts(kind)
    return parts


def columns_of(model: Any) -> list[Column]:
    """Return the flat columns of a model class, or of a union of model classes.

    Of a union, all columns of all kinds; one that some kinds lack is not required, and its
    explanation names the kinds it is for.
    """
    kinds = union_members(model)
    if len(kinds) == 1:
        return _columns(kinds[0])
    by_kind = {_kind_in_words(kind): _columns(kind) for kind in kinds}
    merged: dict[str, Column] = {}
    for columns in by_kind.values():
        for column in columns:
            merged.setdefault(column.name, column)
    return [_merged(name, by_kind) for name in merged]


def _merged(name: str, by_kind: Mapping[str, Sequence[Column]]) -> Column:
    same = {kind: c for kind, columns in by_kind.items() for c in columns if c.name == name}
    first = next(iter(same.values()))
    choices = None
    if first.choices is not None:
        choices = tuple(dict.fromkeys(v for c in same.values() for v in c.choices or ()))
    everywhere = len(same) == len(by_kind)
    note = "" if everywhere else f" Only for: {', '.join(same)}."
    return replace(
        first,
        choices=choices,
        required=everywhere and all(column.required for column in same.values()),
        description=first.description + note,
    )


def _kind_in_words(kind: type[BaseModel]) -> str:
    return str(getattr(kind, "kind_in_words", kind.__name__))


def _columns(model: type[BaseModel]) -> list[Column]:
    columns: list[Column] = []
    for name, field in model.model_fields.items():
        kind, told = bare(field.annotation), explanation(model, name)
        if is_model(kind):
            columns += [
                replace(
                    inner,
                    name=f"{name}.{inner.name}",
                    required=inner.required and field.is_required(),
                    description=f"{told}: {inner.description}" if told else inner.description,
                )
                for inner in _columns(kind)
            ]
        elif get_origin(kind) is not tuple:
            columns.append(_column(name, field, kind, told))
    return columns


def _column(name: str, field: FieldInfo, kind: Any, told: str) -> Column:
    choices = None
    wants: Wants = "text"
    if get_origin(kind) is Literal:
        values = get_args(kind)
        if all(isinstance(value, str) for value in values):
            choices, wants = values, "choice"
        else:
            wants = "whole number"
    elif kind is bool:
        wants, choices = "yes or no", ("yes", "no")
    elif kind is int:
        wants = "whole number"
    elif kind is float:
        wants = "number"
    elif kind is date:
        wants = "date"
    elif kind is not str:
        msg = f"{name}: no flat cell for {kind}"
        raise TypeError(msg)
    return Column(name, told, field.is_required(), choices, wants)


def bare(annotation: Any) -> Any:
    """Return an annotation without its constraints and without `None`."""
    if get_origin(annotation) is Annotated:
        return bare(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        members = [item for item in get_args(annotation) if item is not type(None)]
        if len(members) == 1:
            return bare(members[0])
    return annotation


def is_model(annotation: Any) -> bool:
    """Return whether an annotation is a model class."""
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def union_members(annotation: Any) -> tuple[type[BaseModel], ...]:
    """Return the model classes of a union, or the one model class as a tuple."""
    kind = bare(annotation)
    return (kind,) if is_model(kind) else tuple(bare(item) for item in get_args(kind))


def item_of(field: FieldInfo) -> Any:
    """Return what a list field holds (annotation without constraints), None for no list."""
    kind = bare(field.annotation)
    return bare(get_args(kind)[0]) if get_origin(kind) is tuple else None
