"""The log of events and the commitment: what was tampered with is found and named."""

import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.errors import InputError
from qualify.evidence.commitment import commitment, differing, file_marks, listing_digest
from qualify.evidence.events import NONE, append_entry, moment, read_log
from qualify.files import canonical_json, digest

BEGIN = datetime(2026, 3, 2, 9, tzinfo=UTC)
KINDS = ("freeze", "seal", "declared", "unseal", "freeze")
SALT = bytes(range(32))


def made(count=5):
    log = b""
    for k in range(count):
        at, what = BEGIN + timedelta(days=k), {"study": "s", "part": k}
        log = append_entry(log, kind=KINDS[k], at=at, by=["C-1"], what=what)
    return log


LOG = made()
LINES = LOG.splitlines(keepends=True)


def test_a_whole_log_is_read_as_it_was_written():
    """`previous` is SHA-256 (hashlib, the outside here) of the line before, newline included."""
    log = read_log(LOG)
    assert log.breaks == ()
    assert [(e.number, e.kind, e.at[:10], e.by) for e in log.entries] == [
        (k + 1, KINDS[k], f"2026-03-0{2 + k}", ("C-1",)) for k in range(5)
    ]
    previous = [json.loads(line)["previous"] for line in LINES]
    assert previous == [NONE, *(hashlib.sha256(line).hexdigest() for line in LINES[:-1])]
    assert log.head == hashlib.sha256(LINES[-1]).hexdigest()
    assert made() == LOG  # the same times give the same bytes


@given(place=st.integers(0, len(LOG) - len(LINES[-1]) - 1), value=st.integers(0, 255))
@settings(max_examples=400, deadline=None)
def test_any_byte_changed_before_the_last_line_is_found_in_its_line(place, value):
    """Property: every byte of every line but the last; the line changed is among those named."""
    if LOG[place] == value:
        return
    found = read_log(LOG[:place] + bytes([value]) + LOG[place + 1 :]).breaks
    line = LOG[:place].count(b"\n") + 1
    assert found
    if LOG[place : place + 1] != b"\n" and value != ord("\n"):
        assert line in [b.line for b in found]


@given(order=st.permutations(range(5)), kept=st.integers(1, 5))
@settings(max_examples=150, deadline=None)
def test_lines_taken_out_or_moved_are_found(order, kept):
    """Property: only a log that was cut at its end passes; that is what the head is noted for."""
    chosen = order[:kept]
    found = read_log(b"".join(LINES[k] for k in chosen)).breaks
    assert bool(found) == (chosen != list(range(kept)))


@given(where=st.integers(0, 4), number=st.integers(0, 7))
@settings(max_examples=60, deadline=None)
def test_a_line_put_in_is_found(where, number):
    """Even one that names the right line before it: the line after it does not name it."""
    held = json.loads(LINES[where]) | {"number": number}
    if where:
        held["previous"] = digest(LINES[where - 1])
    forged = canonical_json(held)
    assert read_log(b"".join([*LINES[:where], forged, *LINES[where:]])).breaks


@pytest.mark.parametrize(
    ("change", "line", "words"),
    [
        (lambda lines: [lines[0], *lines[2:]], 2, "holds entry 3 in place of 2"),
        (lambda lines: lines[1:], 1, "holds entry 2 in place of 1"),
        (lambda lines: [lines[0].replace(b"C-1", b"C-9"), *lines[1:]], 1, "was changed"),
        (lambda lines: [lines[0].replace(b":", b": "), *lines[1:]], 1, "canonical"),
        (lambda lines: [*lines[:2], b"notes\n", *lines[3:]], 3, "is not JSON"),
        (lambda lines: [*lines, lines[0][:-1]], 6, "not whole"),
        (lambda lines: [line.replace(b"\n", b"\r\n") for line in lines], 1, "canonical"),
        (lambda lines: [], 1, "empty"),
    ],
)
def test_breaks_are_told_by_line(change, line, words):
    found = read_log(b"".join(change(LINES))).breaks
    assert (found[0].line, words in found[0].found) == (line, True)


def test_a_log_whose_chain_was_made_anew_shows_its_times():
    """A forger who recomputes the chain still can't set an entry before the one above it."""
    first = json.loads(LINES[0])
    second = json.loads(LINES[1]) | {"at": "2026-03-01T00:00:00Z"}
    second["previous"] = digest(canonical_json(first))
    found = read_log(canonical_json(first) + canonical_json(second)).breaks
    assert [b.line for b in found] == [2]
    assert "before the line above" in found[0].found


def test_nothing_is_added_to_a_broken_log_or_before_its_last_entry():
    later = BEGIN + timedelta(days=9)
    broken = b"".join([LINES[0], *LINES[2:]])
    with pytest.raises(InputError, match="line 2"):
        append_entry(broken, kind="freeze", at=later, by=["C-1"], what={})
    with pytest.raises(InputError, match="clock"):
        append_entry(LOG, kind="freeze", at=BEGIN, by=["C-1"], what={})
    with pytest.raises(ValueError, match="time zone"):
        moment(datetime(2026, 3, 2))  # noqa: DTZ001


FILES = {"a": b"alpha", "b": b"beta", "c": b""}


def committed(files, salt=SALT):
    return commitment(salt, {name: digest(content) for name, content in files.items()})


def test_a_commitment_by_hand():
    """The formula of the docstring, computed with hashlib beside it."""
    parts = [b"files", SALT]
    for name in ("a", "b", "c"):
        parts += [name.encode(), hashlib.sha256(FILES[name]).digest()]
    framed = b"".join(len(part).to_bytes(8, "big") + part for part in parts)
    assert committed(FILES) == hashlib.sha256(framed).hexdigest()
    backwards = dict(reversed(FILES.items()))
    assert committed(backwards) == committed(FILES)


@pytest.mark.parametrize(
    "other",
    [
        {"a": b"alph", "b": b"abeta", "c": b""},  # a byte moved from one file to the next
        {"ab": b"alpha", "": b"beta", "c": b""},  # a letter moved from one name to another
        {"a": b"beta", "b": b"alpha", "c": b""},  # contents exchanged
        {"a": b"alpha", "b": b"beta"},
        {**FILES, "d": b""},
    ],
)
def test_nothing_can_be_shifted_within_a_commitment(other):
    assert committed(other) != committed(FILES)
    digests = [{n: digest(c) for n, c in files.items()} for files in (other, FILES)]
    assert listing_digest(digests[0]) != listing_digest(digests[1])


def test_the_changed_file_is_named_and_the_salt_is_needed():
    digests = {name: digest(content) for name, content in FILES.items()}
    sealed, marks = commitment(SALT, digests), file_marks(SALT, digests)
    assert differing(SALT, sealed, marks, digests) == ()
    changed = {"a": digests["a"], "b": digest(b"beta."), "d": digest(b"")}
    told = differing(SALT, sealed, marks, changed)
    assert told == ("c (not there now)", "d (was not sealed)", "b (changed)")
    other = bytes(32)
    assert committed(FILES, other) != sealed
    assert not set(file_marks(other, digests).values()) & set(marks.values())
    forged = marks | {"b": file_marks(SALT, {"b": digest(b"beta.")})["b"]}
    swapped = digests | {"b": digest(b"beta.")}
    assert differing(SALT, sealed, forged, swapped) == ("the commitment as a whole",)
