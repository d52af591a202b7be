"""Start with: jupyterhub -f jupyterhub_config.py, as root. All that is peculiar to the course comes from `autograde.hub`.

What a school decides for itself (who may log in, certificates, the public address) goes below the last line.
"""

import os
from pathlib import Path

from autograde.hub import Site, configure

configure(c, Site(Path(os.environ.get("HALFCYCLE_SITE", "/srv/half-cycle"))))  # noqa: F821 (JupyterHub provides c)
