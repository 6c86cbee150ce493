"""Salted commitments: bound to files without telling what is in them.

With frame(x) = the length of x as 8 bytes, big-endian, then x, the commitment is SHA-256 of
frame("files") frame(salt) frame(name 1) frame(digest 1) frame(name 2) ..., names (UTF-8) in
ascending order, digests (SHA-256 of the contents) as 32 bytes. The mark of one file is SHA-256 of
frame("file") frame(salt) frame(name) frame(digest). Lengths keep anything from being shifted
between names and files; without the salt nothing can be tried on guesses.
"""

import hashlib
from collections.abc import Mapping, Sequence

SALT_BYTES = 32


def _hash(parts: Sequence[bytes]) -> str:
    framed = b"".join(len(part).to_bytes(8, "big") + part for part in parts)
    return hashlib.sha256(framed).hexdigest()


def _listed(digests: Mapping[str, str]) -> list[bytes]:
    """Return names and digests in turn, by name."""
    return [part for n in sorted(digests) for part in (n.encode(), bytes.fromhex(digests[n]))]


def commitment(salt: bytes, digests: Mapping[str, str]) -> str:
    """Return the commitment to named contents, given by their SHA-256 digests (hexadecimal)."""
    return _hash([b"files", salt, *_listed(digests)])


def file_marks(salt: bytes, digests: Mapping[str, str]) -> dict[str, str]:
    """Return the salted digest of each content, which tells later which of them changed."""
    return {
        name: _hash([b"file", salt, name.encode(), bytes.fromhex(sha256)])
        for name, sha256 in sorted(digests.items())
    }


def listing_digest(digests: Mapping[str, str]) -> str:
    """Return one digest of named contents, in which nothing can be shifted between them."""
    return _hash([b"listing", *_listed(digests)])


def differing(
    salt: bytes, sealed: str, marks: Mapping[str, str], digests: Mapping[str, str]
) -> tuple[str, ...]:
    """Return what differs from what was committed to: names, with what became of each.

    Empty if the commitment holds. `sealed` and `marks` are what `commitment` and `file_marks`
    returned then; where the marks are right and the commitment is not, the whole is named.
    """
    if commitment(salt, digests) == sealed:
        return ()
    now = file_marks(salt, digests)
    told = [f"{name} (not there now)" for name in sorted(set(marks) - set(now))]
    told += [f"{name} (was not sealed)" for name in sorted(set(now) - set(marks))]
    told += [f"{n} (changed)" for n in sorted(set(now) & set(marks)) if now[n] != marks[n]]
    return tuple(told) or ("the commitment as a whole",)
