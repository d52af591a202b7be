"""`python -m halfcycle` is the command `halfcycle`."""

import sys

from halfcycle.cli import main

if __name__ == "__main__":
    sys.exit(main())
