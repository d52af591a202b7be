"""`halfcycle demo`: the benches on one clean page for a projector, served to this machine only.

The page is rendered by Voila from a notebook of one line, with a template of our own (`demo_template`) that loads nothing
from outside. Every page that is opened has a Python of its own, which is stopped when it has stood unused for a while.
"""

import contextlib
import json
import os
import socket
import sys
import tempfile
import threading
import webbrowser
from importlib.resources import as_file, files
from pathlib import Path

from .benches import NAMES
from .trouble import Trouble, reason

__all__ = ["ADDRESS", "PORT", "run"]

ADDRESS = "127.0.0.1"
PORT = 8724
_SPARE_PORTS = 20
_IDLE_SECONDS = 600  # a page that was closed by force leaves its Python behind for so long
_WIDGETS = ["@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8"]  # both are needed


def run(
    bench: str | None = None, open_browser: bool = True, handout: str | Path | None = None, port: int | None = None
) -> int:
    """Show the benches until Ctrl+C, or write the hand-out, and return the exit code.

    Parameters
    ----------
    bench : one of `halfcycle.benches.NAMES`, the one shown first; "rectifier" unless given
    open_browser : whether to open the page in the default browser
    handout : path of a PDF to write instead of showing the page
    port : port to serve at; unless given, 8724 or the next that is free

    Raises Trouble, one sentence, for a bench that does not exist, a port in use, a file that cannot be written.
    """
    name = bench or "rectifier"
    if name not in NAMES:
        raise Trouble(f"There is no bench called {name!r}; choose one of: {', '.join(NAMES)}.")
    if handout is not None:
        _write_handout(name, Path(handout))
    else:
        _serve(name, _free_port(port), open_browser)
    return 0


def _write_handout(name: str, path: Path) -> None:
    from .handout import write_handout

    try:
        write_handout(name, path)
    except OSError as error:
        raise Trouble(
            f"The hand-out cannot be written to {path} ({reason(error)}); name a file in a folder that you may write to."
        ) from error
    print(f"The hand-out is in {path}.")


def _free_port(port: int | None) -> int:
    if port is not None and not 1 <= port <= 65535:
        raise Trouble(f"{port} is no port; use a number from 1024 to 65535, or leave --port out.")
    tried = range(PORT, PORT + _SPARE_PORTS) if port is None else (port,)
    for each in tried:
        if _is_free(each):
            return each
    raise Trouble(
        f"Port {port or f'{PORT} to {tried[-1]}'} is in use or not allowed on this "
        "computer; name another with --port, or stop the program that uses it."
    )


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        if os.name == "posix":  # as the server itself does; elsewhere this flag would let two programs share a port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((ADDRESS, port))
        except OSError:
            return False
    return True


def _serve(name: str, port: int, open_browser: bool) -> None:
    address = f"http://{ADDRESS}:{port}/"
    template = files(__package__).joinpath("demo_template")
    with tempfile.TemporaryDirectory(prefix="halfcycle-demo-") as folder, as_file(template) as template_folder:
        _let_jupyter_find(template_folder)
        server = _server(_notebook(Path(folder), name), port)
        print(f"The benches are at {address} (Ctrl+C stops them).", flush=True)
        if open_browser:
            threading.Timer(0.5, webbrowser.open, [address]).start()
        server.start()


def _let_jupyter_find(folder: Path) -> None:
    """Templates are looked up by name on Jupyter's path, so the package's own folder goes first on it."""
    rest = os.environ.get("JUPYTER_PATH")
    os.environ["JUPYTER_PATH"] = os.pathsep.join([str(folder), *([rest] if rest else [])])


def _notebook(folder: Path, name: str) -> Path:
    """A notebook of one cell; it is read once per opened page and never shown."""
    cell = {
        "cell_type": "code",
        "id": "stage",
        "metadata": {},
        "execution_count": None,
        "outputs": [],
        "source": f"from halfcycle.benches.stage import Stage\nStage({name!r})",
    }
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    about = {"kernelspec": kernel, "title": "Half Cycle"}
    path = folder / "half_cycle.ipynb"
    path.write_text(json.dumps({"cells": [cell], "metadata": about, "nbformat": 4, "nbformat_minor": 5}))
    return path


def _page_config(page_config, **_):
    """Hand the page its style and scripts, which the template writes into the page itself."""
    from .benches.panel import naming_script

    template = files(__package__).joinpath("demo_template")
    style, versions = (template.joinpath(name).read_text(encoding="utf-8") for name in ("stage.css", "versions.js"))
    return {**page_config, "stageStyle": style, "stageScript": versions + naming_script()}


def _server(notebook: Path, port: int):
    """Voila, set up so that only what is named here counts, whatever else is installed or configured."""
    from traitlets.config import Config
    from voila.app import Voila

    config = Config()
    config.Voila.tornado_settings = {"ws_ping_interval": 0}  # a page on this machine is there or gone; no need to ask
    config.Voila.update(ip=ADDRESS, port=port, port_retries=0, open_browser=False, config_file_paths=[], log_level=40)
    config.VoilaConfiguration.update(
        template="halfcycle",
        allow_template_override="NO",
        allow_theme_override="NO",
        extension_allowlist=_WIDGETS,
        extension_denylist=[],
        file_allowlist=[],
        page_config_hook=_page_config,
    )
    if os.name == "posix":
        config.KernelManager.transport = "ipc"  # sockets in a private folder rather than open ports
    config.MappingKernelManager.update(cull_idle_timeout=_IDLE_SECONDS, cull_interval=60, cull_connected=False)
    config.KernelSpecManager.kernel_dirs = []  # leaves this Python's own kernel alone
    server = _with_prompt_sockets(Voila)(config=config)
    with contextlib.redirect_stdout(sys.stderr):
        server.initialize([str(notebook)])
    return server


def _with_prompt_sockets(voila):
    """The server, with pictures sent at once: small messages are otherwise held back for some 40 ms to be joined."""
    from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler

    class Prompt(VoilaKernelWebsocketHandler):
        async def open(self, kernel_id):
            await super().open(kernel_id)
            self.set_nodelay(True)

    class PromptVoila(voila):
        def init_handlers(self):
            return [
                (rule[0], Prompt, *rule[2:]) if rule[1] is VoilaKernelWebsocketHandler else rule
                for rule in super().init_handlers()
            ]

    return PromptVoila
