"""Captures: a scope's two-column CSV file, whatever scope wrote it, read into a `Waveform`, and one written.

Of a file one has to know only that there is a time and a value in each row. Found out from the file itself: the text's
encoding (UTF-8, UTF-16, an old code page), how many lines stand before the first row, what parts the columns (comma,
semicolon, tab or blanks), decimal point or comma, and the units that the heading names (s, ms, µs; V, mV).
"""

import codecs
import io
from contextlib import nullcontext, suppress
from itertools import chain, islice
from pathlib import Path

import numpy as np

from .csv_layout import cells_of, layout_of, plain, trouble_of
from .waveforms import Waveform

MOST_ROWS = 10_000_000
_PIECE = 1 << 23  # characters taken from the file at a time
_BLOCK = 100_000  # rows turned into numbers at a time
# Bytes that are no UTF-8 come from a scope that writes an old code page: each is read as it stands there.
codecs.register_error("as cp1252", lambda error: (error.object[error.start : error.end].decode("cp1252"), error.end))


class CaptureError(ValueError):
    """A file that is no capture; its text says in one sentence what is wrong."""


def read_capture(path_or_file, *, unit: str = "V") -> Waveform:
    """The capture in a two-column CSV file: time and value in each row, up to 10 million rows.

    Parameters
    ----------
    path_or_file : path of a file, or an open file (text or bytes), which stays open
    unit : unit of what is returned; values that the heading calls mV, kV or µV are scaled to V, and so for other units

    Time is in seconds unless the heading says ms, µs or ns. Errors: CaptureError, one sentence.

    >>> read_capture(io.StringIO("time (ms);channel (mV)\\n0;0\\n0,5;1200\\n")).values.tolist()
    [0.0, 1.2]
    """
    try:
        with nullcontext(path_or_file) if hasattr(path_or_file, "read") else Path(path_or_file).open("rb") as file:
            return Waveform(*_columns(_lines(file), unit), unit)
    except UnicodeError:
        trouble = "is not a text file; export the capture as CSV."
    except ValueError as error:
        trouble = str(error)
    except FileNotFoundError:
        trouble = "is not there; look at its name and at the folder you are in."
    except OSError as error:
        folder = Path(str(error.filename)).is_dir()
        trouble = "is a folder, not a file." if folder else f"cannot be opened: {error.strerror}."
    name = getattr(path_or_file, "name", path_or_file)
    named = f'The file "{Path(name).name}"' if isinstance(name, str | Path) else "The capture"
    raise CaptureError(f"{named} {trouble}")


def write_capture(wave: Waveform, path_or_file) -> None:
    """Write `wave` as CSV (comma, decimal point, time in s, a heading), every digit kept: reading gives it back.

    >>> file = io.StringIO(); write_capture(Waveform([0.0, 1e-3], [1.5, -2.0]), file); file.getvalue()
    'time (s),value (V)\\n0.0,1.5\\n0.001,-2.0\\n'
    """
    written = hasattr(path_or_file, "write")
    with nullcontext(path_or_file) if written else open(path_or_file, "w", encoding="utf-8", newline="\n") as file:
        rows = np.array([wave.seconds, wave.values], dtype=object).T
        np.savetxt(file, rows, fmt="%r", delimiter=",", header=f"time (s),value ({wave.unit})", comments="")


def _lines(file):
    """The lines of `file`, however they end. Bytes are UTF-16 if a NUL is among them, else UTF-8 or an old code page.

    What has a NUL and no byte order mark is no text: the decoder of UTF-16 refuses it.
    """
    begin, decoder = file.read(_PIECE), None
    if not isinstance(begin, str):
        encoding, errors = ("utf-16", "strict") if b"\0" in begin else ("utf-8", "as cp1252")
        decoder = codecs.getincrementaldecoder(encoding)(errors)
    newlines = io.IncrementalNewlineDecoder(decoder, translate=True)
    rest, nothing = "", begin[:0]
    for piece in chain([begin], iter(lambda: file.read(_PIECE), nothing), [nothing]):
        *lines, rest = (rest + newlines.decode(piece, final=not piece).removeprefix("\ufeff")).split("\n")
        yield from lines
    yield rest


def _columns(lines, unit: str) -> tuple[np.ndarray, np.ndarray]:
    """Times, s, and values of all rows; lines are counted from 1, as a text editor does."""
    begin = list(islice(lines, _BLOCK))
    heading, separator, scales = layout_of(begin, unit)
    numbered = islice(enumerate(chain(begin, lines), start=1), heading, None)
    rows = ((line, row) for line, text in numbered if (row := plain(text, separator)))
    parts, last = [], -np.inf
    while block := list(islice(rows, _BLOCK)):
        parts.append(_numbers(block, separator, last))
        last = parts[-1][0][-1]
        if sum(len(times) for times, _ in parts) > MOST_ROWS:
            raise ValueError(f"holds more than {MOST_ROWS:,} rows; export a shorter record or fewer samples.")
    times, values = np.hstack(parts)
    if len(times) < 2:
        raise ValueError("holds only one row; a capture needs at least two.")
    if times[0] == last:
        raise ValueError("has the same time in every row.")
    return times * scales[0], values * scales[1]


def _numbers(rows: list[tuple[int, str]], separator: str | None, last: float) -> tuple[np.ndarray, np.ndarray]:
    """Times, none before `last`, and values of many rows; raises ValueError with the line at which it goes wrong."""
    with suppress(ValueError):
        times, values = np.loadtxt([text for _, text in rows], delimiter=separator, comments=None, ndmin=2, unpack=True)
        if np.isfinite([times, values]).all() and times[0] >= last and (times[1:] >= times[:-1]).all():
            return times, values
    for line, text in rows:
        cells = cells_of(text, separator)
        if trouble := trouble_of(cells):
            raise ValueError(f"cannot be read: line {line} {trouble}.")
        if float(cells[0]) < last:
            raise ValueError(f"is not in order: at line {line} the time runs backwards.")
        last = float(cells[0])
    return tuple(np.array([cells_of(text, separator) for _, text in rows], dtype=float).T)
