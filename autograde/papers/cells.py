"""Cells of a CSV file: quoted where they must be, and never a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

__all__ = ["plain", "quoted", "table"]


def plain(value: object) -> object:
    """Text that a spreadsheet would take for a formula gets an apostrophe in front.

    >>> plain("=1+1"), plain(-2.5)
    ("'=1+1", -2.5)
    """
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def quoted(value: object) -> str:
    """One cell as it stands in the file.

    >>> quoted("Okafor, Amara"), quoted(None)
    ('"Okafor, Amara"', '')
    """
    return table([[value]], heading=None)[:-1] if value not in (None, "") else ""


def table(rows: Iterable[Sequence], heading: Sequence[str] | None) -> str:
    """A CSV file as text: the ``heading``, if any, and the ``rows``."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    if heading is not None:
        writer.writerow(heading)
    writer.writerows([plain(value) for value in row] for row in rows)
    return out.getvalue()
