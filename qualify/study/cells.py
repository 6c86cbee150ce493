"""One cell as it was typed, turned into what its column wants."""

from datetime import date, datetime, time
from typing import Any

from qualify.errors import Fault
from qualify.study.flat import Column

YES_NO = {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False}


def as_wanted(column: Column, value: Any, place: str) -> Any:
    """Return a cell's value as its column wants it, or a `Fault` that says what is wrong.

    What spreadsheet programs do unasked is put right where it is unambiguous: a day that was
    typed as text, a revision that became a number or a date. A number that became a date or
    a tick is a fault, for nobody can say what was typed. What is still wrong after this the
    models find.
    """
    if column.wants == "yes or no":
        return _yes_no(value, place)
    if column.wants == "date":
        return _day(value, place)
    if column.wants in ("number", "whole number"):
        return _number(value, place)
    if isinstance(value, bool):
        return Fault(place, f"found {_tick(value)}", "give it in words")
    return _iso(value) if isinstance(value, (datetime, date, time)) else value


def _yes_no(value: Any, place: str) -> bool | Fault:
    if isinstance(value, (bool, str, int, float)):
        known = YES_NO.get(str(int(value) if value in (0, 1) else value).strip().lower())
        if known is not None:
            return known
    return Fault(place, f"found {value!r}", "give yes or no")


def _day(value: Any, place: str) -> date | Fault:
    if isinstance(value, datetime):
        if value.time() == time(0):
            return value.date()
        return Fault(place, f"found {value.isoformat(sep=' ')}", "give a day without the time")
    if isinstance(value, date):
        return value
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    return Fault(place, f"found {value!r}", "give a day, as 2026-03-31")


def _number(value: Any, place: str) -> Any:
    if isinstance(value, (datetime, date, time)):
        return Fault(
            place,
            f"found the date or time {value.isoformat()}",
            "give a number (spreadsheet programs make a date of one like 1.5)",
        )
    if isinstance(value, bool):
        return Fault(place, f"found {_tick(value)}", "give a number")
    return value


def _tick(value: bool) -> str:
    return "TRUE" if value else "FALSE"


def _iso(value: datetime | date | time) -> str:
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time(0) else value.isoformat(sep=" ")
    return value.isoformat()
