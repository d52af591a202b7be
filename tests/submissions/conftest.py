"""What every test of this folder needs."""

import pytest
from made_course import LIMITS

from autograde import course as courses
from autograde.fence import why_no_fence


@pytest.fixture(scope="session")
def needs_fence():
    """Skip where no hand-in can be fenced, with the line that mends it."""
    if trouble := why_no_fence():
        pytest.skip(trouble)


@pytest.fixture(scope="package")
def short_patience():
    """The bounds of a submission, small enough that a test need not wait long."""
    kept = courses.configure

    def configure(c, place=None):
        kept(c, place)
        c.FencedExecute.limits = LIMITS
        return c

    courses.configure = configure
    yield
    courses.configure = kept
