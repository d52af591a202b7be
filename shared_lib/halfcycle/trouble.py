"""The one exception a learner's command may end in: a plain sentence that names the thing and the mend."""

__all__ = ["Trouble", "reason"]


class Trouble(Exception):
    """Something the person at the keyboard can mend; its text is the one sentence that the command prints."""


def reason(error):
    """Why the operating system refused, in its few plain words, without a number.

    >>> reason(PermissionError(13, "Permission denied"))
    'permission denied'
    """
    return (error.strerror or type(error).__name__).lower()
