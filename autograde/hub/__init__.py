"""The course on JupyterHub: whose server runs in which environment, with which settings, and the exchange between them.

`site` says where everything lies and makes the folders, `settings` fills JupyterHub's configuration, `exchange` carries
lessons, hand-ins and feedback through the folders of nbgrader's exchange. README.md beside this file is the admin's page.
"""

from autograde.hub.settings import configure
from autograde.hub.site import Site

__all__ = ["Site", "configure"]
