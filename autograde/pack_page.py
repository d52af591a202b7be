"""The page of instructions in a learner's pack, and the program that it tells to run: one command on every system."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from html import escape

__all__ = ["COMMAND", "PAGE", "PROGRAM", "page", "program"]

COMMAND, PAGE, PROGRAM = "uv run start.py", "START-HERE.html", "start.py"
_PROGRAM = '''# /// script
# requires-python = ">=3.11,<3.14"
# dependencies = ["halfcycle"]
#
# [tool.uv]
# override-dependencies = ["rfc3987-syntax; python_version < '3'"]
#
# [tool.uv.sources]
# halfcycle = {{ path = "{wheel}" }}
# ///
"""Starts the lessons of this pack in a browser on this computer; your work is kept in one folder from week to week."""

import sys
from pathlib import Path

from halfcycle.cli import main

arguments = sys.argv[1:]
if not arguments or arguments[0].startswith("-"):
    arguments.insert(0, str(Path.home() / "half-cycle-study"))
lessons = str(Path(__file__).resolve().parent / "lessons")
if __name__ == "__main__":
    sys.exit(main(["study", *arguments, "--course", {course!r}, "--lessons", lessons]))
'''
_STYLE = (
    "body{font:1.05rem/1.5 system-ui,sans-serif;max-width:44rem;margin:2rem auto;padding:0 1rem;color:#111;background:#fff}"
    "code{font-family:ui-monospace,monospace;overflow-wrap:anywhere}"
    "pre{background:#eee;padding:.8rem 1rem;font-size:1.2rem;overflow-x:auto}"
    "table{border-collapse:collapse}td,th{text-align:left;padding:.2rem 1.2rem .2rem 0;border-bottom:1px solid #bbb}"
)


def program(wheel: str, course: str) -> str:
    """The text of ``start.py`` for the file name of a ``wheel`` and the name from which the ``course`` draws its circuits."""
    return _PROGRAM.format(wheel=wheel, course=course)


def page(title: str, group: str, lessons: Mapping[str, datetime | None]) -> str:
    """The page of instructions; ``lessons`` gives the last moment (UTC) of each lesson, or None."""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{escape(title)}: start here</title><style>{_STYLE}</style></head><body>
<h1>{escape(title)}: start here</h1>
{f"<p>Group: {escape(group)}</p>" if group else ""}
<h2>Start the lessons</h2>
<ol>
<li>Unpack this zip file. A program cannot be started inside a zip.</li>
<li>Open a terminal in the folder where this page lies.
<br>Windows: right-click in the folder, then “Open in Terminal”.
<br>macOS: right-click the folder, then “New Terminal at Folder”.
<br>Linux: right-click in the folder, then “Open in Terminal”.</li>
<li>Type this line, on every system the same, and press Enter:<pre><code>{COMMAND}</code></pre></li>
<li>It asks for your id. Type it as your instructor gave it: it decides which circuit is yours.</li>
<li>A page opens in your browser. It runs on this computer alone. Nothing that you do is sent anywhere.</li>
</ol>
<p>The first start fetches open-source packages, so it needs the internet and a few minutes. Later starts are quick.
Without the internet, later: <code>uv run --offline start.py</code></p>
<h2>If the line is not understood</h2>
<p>The line needs the free program <code>uv</code>. Ask for it to be installed, or type
<code>python3 -m pip install --user uv</code> (on Windows: <code>py -m pip install --user uv</code>),
open a new terminal, and try the line again.</p>
<h2>Your work</h2>
<p>It is kept in the folder <code>half-cycle-study</code> in your home folder. Next week's pack goes on with the same folder:
new lessons are added, and nothing of yours is written over.
Do two of you share an account? Then name a folder of your own: <code>{COMMAND} my-folder</code></p>
<p>To hand in, save the notebook. Give the file with the name of the lesson to your instructor, in a folder or zip with your id as its name.</p>
<h2>Lessons in this pack</h2>
<table><thead><tr><th>Lesson</th><th>Last day</th></tr></thead><tbody>{_rows(lessons)}</tbody></table>
<p>These lessons teach on drawings and numbers. Local code and a licensed person decide about real equipment.
Switch it off, lock it out and prove it dead before you touch it.</p>
</body></html>
"""


def _rows(lessons: Mapping[str, datetime | None]) -> str:
    return "".join(
        f"<tr><td>{escape(name.replace('_', ' '))}</td><td>{f'{due:%Y-%m-%d %H:%M} UTC' if due else 'none'}</td></tr>"
        for name, due in sorted(lessons.items())
    )
