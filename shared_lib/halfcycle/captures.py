"""Captures: a scope's two-column CSV file, whatever scope wrote it, read into a `Waveform`, and one written.

Of a file one has to know only that there is a time and a value in each row. Found out from the file itself: the text's
encoding (UTF-8, UTF-16, an old code page), how many lines stand before the first row, what parts the columns (comma,
semicolon, tab or blanks), decimal point or comma, and the units that the heading names (s, ms, µs; V, mV).
"""

import codecs
import io
import warnings
from contextlib import nullcontext
from pathlib import Path

import numpy as np

from .csv_layout import Layout, cells_of, layout_of, trouble_of
from .waveforms import Waveform

MOST_ROWS = 10_000_000
_PIECE = 1 << 23  # characters taken from the file at a time
_NO_TEXT = "is not a text file; export the capture as CSV."


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
        with _opened(path_or_file) as file:
            columns = _columns(_pieces(file), unit)
        return Waveform(*columns, unit)
    except UnicodeDecodeError:
        trouble = _NO_TEXT
    except ValueError as error:
        trouble = str(error)
    raise CaptureError(f"{_named(path_or_file)} {trouble}")


def write_capture(wave: Waveform, path_or_file) -> None:
    """Write `wave` as CSV (comma, decimal point, time in s, a heading), every digit kept: reading gives it back.

    >>> file = io.StringIO(); write_capture(Waveform([0.0, 1e-3], [1.5, -2.0]), file); file.getvalue()
    'time (s),value (V)\\n0.0,1.5\\n0.001,-2.0\\n'
    """
    written = hasattr(path_or_file, "write")
    with nullcontext(path_or_file) if written else open(path_or_file, "w", encoding="utf-8", newline="\n") as file:
        file.write(f"time (s),value ({wave.unit})\n")
        rows = zip(wave.seconds.tolist(), wave.values.tolist(), strict=True)
        file.writelines(f"{second!r},{value!r}\n" for second, value in rows)


def _named(path_or_file) -> str:
    name = getattr(path_or_file, "name", None) if hasattr(path_or_file, "read") else path_or_file
    return f'The file "{Path(name).name}"' if isinstance(name, str | Path) else "The capture"


def _opened(path_or_file):
    if hasattr(path_or_file, "read"):
        return nullcontext(path_or_file)
    path = Path(path_or_file)
    if path.is_dir():
        raise ValueError("is a folder, not a file.")
    try:
        return path.open("rb")
    except FileNotFoundError:
        raise ValueError("is not there; look at its name and at the folder you are in.") from None
    except OSError as error:
        raise ValueError(f"cannot be opened: {error.strerror}.") from None


def _pieces(file):
    """The text of `file` a piece at a time, every line ending in "\\n"."""
    piece = file.read(_PIECE)
    decoder = None if isinstance(piece, str) else codecs.getincrementaldecoder(_encoding(piece))()
    lines = io.IncrementalNewlineDecoder(decoder, translate=True)
    while piece:
        yield lines.decode(piece).removeprefix("\ufeff")
        piece = file.read(_PIECE)
    yield lines.decode("" if decoder is None else b"", final=True)


def _encoding(begin: bytes) -> str:
    if begin.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if b"\0" in begin:
        raise ValueError(_NO_TEXT)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(begin)
        return "utf-8"
    except UnicodeDecodeError:
        return "cp1252"


def _columns(pieces, unit: str) -> list[np.ndarray]:
    """Times, s, and values of all rows; lines are counted from 1, as a text editor does."""
    begin = next(pieces)
    layout = layout_of(begin.split("\n"), unit)
    line, last, count, parts = layout.heading + 1, -np.inf, 0, []
    for lines in _whole_lines(begin.split("\n", layout.heading)[layout.heading], pieces):
        rows = _rows(lines, layout, last)
        if rows is None:
            rows = _rows_one_by_one(lines, layout, line, last)
        if len(rows[0]):
            last, count = rows[0][-1], count + len(rows[0])
            parts.append(rows)
        if count > MOST_ROWS:
            raise ValueError(f"holds more than {MOST_ROWS:,} rows; export a shorter record or fewer samples.")
        line += lines.count("\n")
    if count < 2:
        raise ValueError("holds only one row; a capture needs at least two.")
    times, values = (np.concatenate(column) for column in zip(*parts, strict=True))
    if times[0] == times[-1]:
        raise ValueError("has the same time in every row.")
    return [times * layout.time_scale, values * layout.value_scale]


def _whole_lines(begin: str, pieces):
    """The text from `begin` on, cut only between lines; every line ends in a newline."""
    for piece in pieces:
        whole, newline, begin = (begin + piece).rpartition("\n")
        if newline:
            yield whole + newline
    if begin:
        yield begin + "\n"


def _rows(lines: str, layout: Layout, last: float):
    """Times and values of many lines at once, or None where a line is not two numbers or time runs backwards.

    Each line's end is read as a "not a number", so that a missing or a third number in a row cannot go unseen.
    """
    text = layout.plain(lines.rstrip()).replace("\n\n", "\n") + "\n"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)
            numbers = np.fromstring(text.replace("\n", " nan "), sep=" ")
    except (DeprecationWarning, ValueError):
        return None
    if numbers.size % 3:
        return None
    times, values, ends = numbers.reshape(-1, 3).T
    sound = np.isnan(ends).all() and np.isfinite(times).all() and np.isfinite(values).all()
    if not sound or (times.size and times[0] < last) or (times[1:] < times[:-1]).any():
        return None
    return times.copy(), values.copy()


def _rows_one_by_one(lines: str, layout: Layout, line: int, last: float):
    """The same with empty lines passed over; raises ValueError with the line at which it goes wrong."""
    times, values = [], []
    for number, text in enumerate(lines.split("\n")[:-1], start=line):
        cells = cells_of(text, layout.separator)
        if not cells:
            continue
        if trouble := trouble_of(cells):
            raise ValueError(f"cannot be read: line {number} {trouble}.")
        time, value = map(float, cells)
        if time < last:
            raise ValueError(f"is not in order: at line {number} the time runs backwards.")
        last = time
        times.append(time)
        values.append(value)
    return np.array(times), np.array(values)
