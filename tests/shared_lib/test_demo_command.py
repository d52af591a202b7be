"""The demo command short of its page: what it refuses, the hand-out, and a template that points at nothing outside."""

import re
import signal
import socket
from importlib.resources import files
from pathlib import Path

import nbformat
import pytest

from halfcycle import demo
from halfcycle.cli import main
from halfcycle.trouble import Trouble

TEMPLATE = Path(str(files("halfcycle").joinpath("demo_template")))


def test_the_hand_out_is_written_and_named(tmp_path, capsys):
    path = tmp_path / "talk.pdf"
    assert main(["demo", "--bench", "supply", "--handout", str(path)]) == 0
    assert path.read_bytes().startswith(b"%PDF")
    assert capsys.readouterr().out == f"The hand-out is in {path}.\n"


def test_a_hand_out_that_cannot_be_written_names_the_file_and_the_mend(tmp_path):
    path = tmp_path / "missing" / "talk.pdf"
    with pytest.raises(Trouble, match=re.escape(f"cannot be written to {path} (no such file or directory)")):
        demo.run(handout=path)


@pytest.mark.parametrize("port", [0, -1, 65536])
def test_a_port_that_is_none_is_refused(port):
    with pytest.raises(Trouble, match="is no port"):
        demo.run(open_browser=False, port=port)


def test_a_port_in_use_is_refused_and_without_a_wish_another_is_taken():
    with socket.socket() as taken:
        taken.bind((demo.ADDRESS, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(Trouble, match=f"Port {port} is in use"):
            demo.run(open_browser=False, port=port)
    assert demo.PORT <= demo._free_port(None) < demo.PORT + demo._SPARE_PORTS


def test_the_page_is_made_from_a_valid_notebook_of_one_cell(tmp_path):
    notebook = nbformat.read(demo._notebook(tmp_path, "supply"), as_version=4)
    nbformat.validate(notebook)
    assert len(notebook.cells) == 1 and "Stage('supply')" in notebook.cells[0].source


def test_nothing_in_the_package_s_pages_points_outside():
    pages = [path for path in TEMPLATE.rglob("*") if path.is_file()]
    scripts = [Path(str(files("halfcycle.benches").joinpath(name))) for name in ("bench.css", "naming.js")]
    assert {path.name for path in pages} >= {"index.html.j2", "page.html", "error.html", "stage.css"}
    for path in pages + scripts:
        assert not re.search(r"(https?:)?//[\w.-]+\.\w", path.read_text(encoding="utf-8")), path


@pytest.fixture
def own_signals():
    """The server takes the ending signal to itself; give it back."""
    before = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, before)


def test_the_server_answers_this_machine_alone_and_sweeps_up_after_closed_pages(tmp_path, own_signals):
    server = demo._server(demo._notebook(tmp_path, "rectifier"), 8799)
    assert (server.ip, server.port, server.port_retries, server.open_browser) == ("127.0.0.1", 8799, 0, False)
    kernels = server.config.MappingKernelManager
    assert 0 < kernels.cull_idle_timeout <= 3600 and kernels.cull_interval > 0 and not kernels.cull_connected
    assert not any("nbgrader" in name for name in server.voila_configuration.extension_allowlist)
    assert server.voila_configuration.file_allowlist == []
    assert not server.voila_configuration.show_tracebacks
