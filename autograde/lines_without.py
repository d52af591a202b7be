"""Taking the lines that mention a person out of a text file, and leaving every other byte as it is."""

from __future__ import annotations

import csv
import re

__all__ = ["lines_without"]


def lines_without(data: bytes, pattern: re.Pattern, *, table: bool = False) -> tuple[bytes, int]:
    """Return ``data`` without the lines in which ``pattern`` is found, and how many went.

    In a ``table`` (CSV) a record may run over several lines, and the first one, its heading, stays.

    >>> lines_without(b"id,said\\namara,hello\\nben,\\"two\\nlines\\"\\n", re.compile("ben"), table=True)
    (b'id,said\\namara,hello\\n', 1)
    """
    encoding = _encoding(data)
    lines = data.decode(encoding).splitlines(keepends=True)
    pieces = _records(lines) if table else lines
    kept = [piece for at, piece in enumerate(pieces) if (table and at == 0) or not pattern.search(piece)]
    return "".join(kept).encode(encoding), len(pieces) - len(kept)


def _encoding(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    try:
        data.decode("utf-8")
        return "utf-8"
    except UnicodeDecodeError:
        return "latin-1"  # every byte has a letter, so that every other line stays as it is


def _records(lines: list[str]) -> list[str]:
    """The lines of a CSV file joined to records; as they are where it is no sound CSV."""
    reader, found, start = csv.reader(lines), [], 0
    try:
        for _ in reader:
            found.append("".join(lines[start : reader.line_num]))
            start = reader.line_num
    except csv.Error:
        return lines
    return found + lines[start:]
