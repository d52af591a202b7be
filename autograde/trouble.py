"""The one exception an instructor's command may end in: a plain sentence that names the place and the mend."""

from __future__ import annotations

__all__ = ["Trouble", "reason"]


class Trouble(Exception):
    """Something the instructor can mend; its text is the one sentence that the command prints."""


def reason(error: OSError) -> str:
    """Why the operating system refused, in a few plain words without its error number.

    >>> reason(PermissionError(13, "Permission denied"))
    'permission denied'
    """
    return (error.strerror or type(error).__name__).lower()
