"""One JSON value a line, from the shell behind the fence to the grading outside, which believes nothing of it."""

import json

__all__ = ["LARGEST", "LARGEST_ERROR", "MOST_DEEP", "Frames", "pack", "unpack"]

LARGEST = 6 * 2**20  # more than a notebook may show; read, small lists in it take some twenty-five times as much memory
LARGEST_ERROR = 2**15  # what the end of a cell may say of its error
MOST_DEEP = 40
_MOST_DIGITS = 40  # reading a whole number takes the square of its digits


def pack(value):
    r"""Return ``value`` as one line of bytes.

    >>> pack({"kind": "end"})
    b'{"kind": "end"}\n'
    """
    return json.dumps(value, default=str).encode() + b"\n"


def unpack(line):
    r"""Return the dict that a line of bytes from a stranger holds, or None when it holds none, or a deep one.

    >>> unpack(b'{"kind": "end"}\n'), unpack(b"[1]"), unpack(b'{"a": ' * 10**5), unpack(b"\xff")
    ({'kind': 'end'}, None, None, None)
    """
    try:
        value = json.loads(line, parse_int=_whole)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) and not _deeper(value, MOST_DEEP) else None


def _whole(digits):
    if len(digits) > _MOST_DIGITS:
        raise ValueError("more digits than any answer has")
    return int(digits)


def _deeper(value, levels):
    if not isinstance(value, dict | list):
        return False
    inside = value.values() if isinstance(value, dict) else value
    return levels == 0 or any(_deeper(one, levels - 1) for one in inside)


class Frames:
    """Lines cut from what is fed in, piece by piece; a line longer than ``LARGEST`` is thrown away as it comes."""

    def __init__(self):
        self._parts, self._size, self._skip = [], 0, False
        self.dropped = 0  # lines that were too long

    def feed(self, data):
        r"""Return the whole lines that ``data`` (bytes) completes.

        >>> frames = Frames()
        >>> frames.feed(b"one\ntw"), frames.feed(b"o\n")
        ([b'one'], [b'two'])
        """
        *whole, rest = data.split(b"\n")
        lines = []
        for piece in whole:
            line = self._ended(piece)
            lines += [line] if line is not None else []
        self._keep(rest)
        return lines

    def _keep(self, piece):
        self._size += len(piece)
        self._skip = self._skip or self._size > LARGEST
        self._parts = [] if self._skip else [*self._parts, piece] if piece else self._parts

    def _ended(self, piece):
        self._keep(piece)
        line = None if self._skip else b"".join(self._parts)
        self.dropped += self._skip
        self._parts, self._size, self._skip = [], 0, False
        return line
