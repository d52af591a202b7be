"""The warm fork beside a kernel: the same things marked and shown; and nothing goes from one learner to the next."""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

from autograde import course as courses
from autograde import fence as fences
from autograde.evidence import MIME, read_slip
from autograde.executing import Executor, task
from autograde.fence import Limits, NoFence, fence, why_no_fence
from autograde.kernel_run import kernel_run
from autograde.warm import NotWarm, Warm

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
WHO = (courses.DEFAULT_COURSE, "amara")
LESSONS = sorted(path for path in courses.LESSONS.glob("[0-9][0-9]_*/*.ipynb") if path.stem == path.parent.name)


@pytest.fixture(scope="module")
def warm():
    made = Warm(fence())
    yield made
    made.close()


@pytest.fixture(scope="module")
def practised():
    """A warm interpreter that has practised every lesson, as it has when a whole course is graded."""
    lessons = [[source for _, source, *_ in task(nbformat.read(path, as_version=4), WHO)["cells"]] for path in LESSONS]
    made = Warm(fence(), [[LEFT_BY_PRACTICE], *lessons])
    yield made
    made.close()


@pytest.fixture(scope="module")
def impatient():
    """Bounds so small that a test need not wait long."""
    made = Warm(fence(limits=replace(Limits(), cell_seconds=1, notebook_seconds=8)))
    yield made
    made.close()


def _task(*sources, who=WHO, graded=()):
    return {"who": who, "cells": [[n, source, f"c{n}", n in graded] for n, source in enumerate(sources)]}


def _shown(result, cell=0):
    return result["cells"][str(cell)]["outputs"]


def _said(result, cell=0):
    return "".join(one.get("text", "") for one in _shown(result, cell))


# The same as in a kernel


def _plain(result):
    """``result`` without what two runs of one kernel do not have in common either."""
    found = {}
    for cell, one in result["cells"].items():
        outputs = []
        for output in one["outputs"]:
            last = outputs[-1] if outputs else {}
            if output["output_type"] == last.get("output_type") == "stream" and output["name"] == last["name"]:
                outputs[-1] = {**last, "text": last["text"] + output["text"]}  # however many pieces it came in
            else:
                outputs.append(_comparable(output))
        found[cell] = {"count": one["count"], "outputs": outputs}
    return {"cells": found, "stopped": result["stopped"]}


def _comparable(output):
    if output["output_type"] == "error":
        lines = [line for line in output["traceback"] if "/site-packages/" not in line and "/fence/" not in line]
        output = {**output, "traceback": [_settled(line) for line in lines]}
        return {**output, "evalue": _settled(output["evalue"])}
    if "data" in output:
        data = {kind: value for kind, value in output["data"].items() if "widget-view" not in kind}
        return {**output, "data": {kind: _settled(value) for kind, value in data.items()}}
    return output


def _settled(value):
    """Places in memory, and names made up anew each time, differ in every run."""
    return re.sub(r"0x[0-9a-f]{6,}|[0-9a-f]{12,}|ipykernel_\d+", "*", value) if isinstance(value, str) else value


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem[:2])
def test_a_lesson_is_marked_and_shown_as_in_a_kernel(practised, path):
    asked = task(nbformat.read(path, as_version=4), WHO)
    ours, kernels = practised.run(asked), kernel_run(asked, fence())
    assert ours["stopped"] == kernels["stopped"] == ""
    graded = [(index, source.split('"')[1]) for index, source, _, is_graded in asked["cells"] if is_graded]
    assert graded
    for index, item in graded:
        slip, trouble = read_slip(_shown(ours, index), item)
        assert slip["value"] is not None and not trouble
        assert (slip, trouble) == read_slip(_shown(kernels, index), item)
    assert _plain(ours) == _plain(kernels)


BEHAVIOURS = (
    "print('a', end=''); print('b'); 5",
    "from IPython.display import HTML, Latex, Markdown, SVG, display, clear_output\nimport sys\n"
    "print('one'); display(HTML('<b>two</b>')); print('three', file=sys.stderr); display(Markdown('*four*')); print('five')\n'six'",
    "import matplotlib.pyplot as plt\nplt.plot([1, 3, 2])\nplt.title('figure')\nprint('before the figure')",
    "fig, ax = plt.subplots()\nax.plot([1, 2])\nplt.show()\nprint('after the figure')",
    "fig",
    "import ipywidgets\nipywidgets.IntSlider(value=3)",
    "ipywidgets.interact(lambda n: print('n is', n), n=(0, 4));",
    "box = ipywidgets.Output()\nwith box:\n    print('inside')\nbox",
    "import asyncio\nawait asyncio.sleep(0.01)\nprint('awaited')\nawait asyncio.sleep(0, 'result')",
    "later = asyncio.create_task(asyncio.sleep(0, 'of a task'))",
    "await later",
    "async for n in missing():\n    pass",
    "input('your name? ')",
    "import getpass\ngetpass.getpass()",
    "print('before'); 1 / 0; print('never')",
    "def inner():\n    raise ValueError('of two\\nlines')\ninner()",
    "this is not Python (",
    "undefined_name",
    "import halfcycle.nothing",
    "   \n  if True:\nprint('bad indent')",
    "raise SystemExit('on purpose')",
    "!echo from a shell",
    # what other processes write reaches a kernel when its watching thread gets round to it: a second is plenty
    "import os, subprocess, time\nos.system('echo from the system'); time.sleep(1)\nprint('after it')",
    "done = subprocess.run(['echo', 'from a process']); time.sleep(1)\ndone.returncode",
    "%%capture kept\nprint('not shown')",
    "kept.stdout",
    "print(1); clear_output(); print(2)",
    "print(1); clear_output(wait=True); print(2)",
    "handle = display('first', display_id=True); handle.update('second')",
    "import warnings, logging\nwarnings.warn('careful')\nlogging.warning('logged')",
    "1; 2\n3;",
    "_, __, Out[1]",
    "import threading\nthread = threading.Thread(target=lambda: print('from a thread')); thread.start(); thread.join()",
    "import warnings\nwith warnings.catch_warnings(action='ignore'):\n    if os.fork() == 0:\n        os._exit(0)\nos.wait()[1]",
    "class Odd:\n    def __repr__(self):\n        raise RuntimeError('no words')\nOdd()",
    "class Rich:\n    def _repr_html_(self):\n        return '<i>rich</i>'\nRich()",
    "import numpy as np\nnp.arange(3), np.float64(0.1)",
    "%matplotlib inline\nplt.figure(figsize=(1, 1)); plt.plot([1]);",
    "print(__name__, get_ipython().__class__.__name__, os.getcwd(), sorted(k for k in os.environ if k.startswith('HALF')))",
    "print('x' * 100_000)",
    "sys.stdout.write('written'); sys.stdout.flush()",
    "help(len)",
    "%who_ls int",
    "from halfcycle.lesson import hand_in\nhand_in('90-volts', 24.5, 'V')",
    "raise KeyboardInterrupt",
    "len?",
)


@pytest.fixture(scope="module")
def both_ways(warm):
    asked = _task(*BEHAVIOURS)
    return _plain(warm.run(asked)), _plain(kernel_run(asked, fence()))


@pytest.mark.parametrize("cell", range(len(BEHAVIOURS)), ids=[source.splitlines()[0][:30] for source in BEHAVIOURS])
def test_a_cell_behaves_as_in_a_kernel(both_ways, cell):
    ours, kernels = (one["cells"][str(cell)] for one in both_ways)
    assert ours == kernels


def test_a_cell_that_takes_too_long_is_interrupted_as_in_a_kernel(impatient):
    asked = _task("import time\nwhile True:\n    time.sleep(0.01)", "print('goes on')")
    kernels = kernel_run(asked, fence(limits=replace(Limits(), cell_seconds=1, notebook_seconds=20)))
    ours = impatient.run(asked)
    assert [one["ename"] for one in _shown(ours)] == ["KeyboardInterrupt", "CellTimeoutError"]
    assert [one["ename"] for one in _shown(kernels)] == ["KeyboardInterrupt", "CellTimeoutError"]
    assert _said(ours, 1) == _said(kernels, 1) == "goes on\n"


def test_what_awaits_too_long_is_interrupted_too(impatient):
    ours = impatient.run(_task("import asyncio\nawait asyncio.sleep(9)", "print('goes on')"))
    assert _shown(ours)[-1]["ename"] == "CellTimeoutError"
    assert _said(ours, 1) == "goes on\n"


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("import os; os._exit(3)", "Python ended in the cell c1"),
        ("exit", "Python ended in the cell c2"),
        ("import os; os.closerange(3, 200)", "Python ended in the cell c1"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGKILL)", "Python ended in the cell c1"),
        (
            "while True:\n    try:\n        while True:\n            pass\n    except BaseException:\n        pass",
            "could not be interrupted",
        ),
        ("import itertools; sum(itertools.repeat(1))", "could not be interrupted"),
    ],
)
def test_what_ends_early_keeps_what_came_before_and_the_next_one_is_served(impatient, source, said):
    result = impatient.run(_task("print('kept')", source, "print('never')"))
    assert said in result["stopped"]
    assert _said(result) == "kept\n"
    assert "2" not in result["cells"]
    assert _said(impatient.run(_task("print('next')"))) == "next\n"


def test_a_notebook_that_takes_too_long_in_all_is_stopped(impatient):
    result = impatient.run(_task(*["import time; time.sleep(0.9)"] * 12))
    assert "stopped after 8 seconds, before the cell" in result["stopped"]
    assert 4 < len(result["cells"]) < 12


# Nothing goes from one learner to the next

LEAVES = """
import builtins, gc, os, random, sys, tempfile
import halfcycle, matplotlib, matplotlib.pyplot as plt, numpy as np
for module in (builtins, halfcycle, np, matplotlib, plt, os, sys.modules["IPython"], sys.modules["halfcycle.variants"]):
    module.LEFT_BY_MALLORY = "left-by-mallory"
abs_ = builtins.abs
builtins.abs = lambda x: 0
halfcycle.variants.circuit.__globals__["LEFT"] = "left-by-mallory"
sys.modules["left_by_mallory"] = os
sys.path.append("/left-by-mallory")
os.environ["LEFT_BY_MALLORY"] = "1"
random.seed(5); np.random.seed(5)
plt.rcParams["lines.linewidth"] = 77
plt.style.use("dark_background")
plt.figure("left-by-mallory")
get_ipython().ast_transformers.append(None)
get_ipython().user_ns["left_by_mallory"] = 1
get_ipython().events.register("pre_run_cell", lambda *a: print("left-by-mallory"))
for place in ("/desk", "/tmp", "/dev/shm", tempfile.gettempdir()):
    open(place + "/left-by-mallory", "w").write("x")
hoard = ["left-by-mallory" + str(n) for n in range(50_000)]
os.umask(0); os.nice(5)
if os.fork() == 0:
    os.setsid()
    import time; time.sleep(60)
"""

LEFT_BY_PRACTICE = """
import os, matplotlib.pyplot as plt, IPython
os.environ["LEFT_BY_MALLORY"] = "1"
plt.rcParams["lines.linewidth"] = 77
plt.figure("left-by-mallory")
for place in ("/desk", "/tmp", "/dev/shm"):
    open(place + "/left-by-mallory", "w").write("x")
left_by_mallory = ["left-by-mallory" + str(n) for n in range(50_000)]
IPython.get_ipython().ast_transformers.append(None)
"""

LOOKS = """
import builtins, gc, os, random, sys
import halfcycle, halfcycle.variants, matplotlib, matplotlib.pyplot as plt, numpy as np, IPython, json
found = {
    "modules": [m.__name__ for m in list(sys.modules.values()) if hasattr(m, "LEFT_BY_MALLORY")],
    "names": [n for n in sys.modules if "left" in n and "mallory" in n] + [p for p in sys.path if "mallory" in p],
    "abs": abs(-3), "globals": halfcycle.variants.circuit.__globals__.get("LEFT"),
    "environment": [n for n in os.environ if "MALLORY" in n or "mallory" in os.environ[n]],
    "chance": [random.random(), float(np.random.random())],
    "lines": plt.rcParams["lines.linewidth"], "figures": plt.get_fignums(), "face": plt.rcParams["figure.facecolor"],
    "shell": [get_ipython().ast_transformers, "left_by_mallory" in get_ipython().user_ns],
    "files": [n for place in ("/desk", "/tmp", "/dev/shm") for n in os.listdir(place)],
    "processes": sorted(int(n) for n in os.listdir("/proc") if n.isdigit()),
    "niceness": os.nice(0), "mask": os.umask(0o077),
    "memory": sum(isinstance(o, list) and len(o) > 1000 and str(o[0]).startswith("left-by-m") for o in gc.get_objects()),
    "who": [os.environ["HALFCYCLE_LEARNER"], halfcycle.variants.who()],
    "open": [os.readlink(f"/proc/self/fd/{n}").split("[")[0] for n in os.listdir("/proc/self/fd") if os.path.lexists(f"/proc/self/fd/{n}")],
}
print(json.dumps(found))
"""


def _look(warm, learner):
    import json

    return json.loads(_said(warm.run(_task(LOOKS, who=("half-cycle", learner)))))


def test_nothing_is_left_by_the_learner_before(warm):
    before = _look(warm, "amara")
    assert _said(warm.run(_task(LEAVES + "print(abs(-3))", who=("half-cycle", "mallory")))) == "0\n"
    after = _look(warm, "bo")
    assert after.pop("who") == ["bo", ["half-cycle", "bo"]]
    assert before.pop("who") == ["amara", ["half-cycle", "amara"]]
    chance = [before.pop("chance"), after.pop("chance")]
    assert all(one != other for one, other in zip(*chance, strict=True))
    assert after == before
    library = {part for path in sys.path for part in Path(path).parts[2:3] if Path(path).is_relative_to("/tmp")}
    files = [name for name in after["files"] if name not in library]  # a checkout under /tmp is bound there, to be read
    assert (after["abs"], files, after["memory"], after["processes"]) == (3, [], 0, [1, 2])
    assert after["open"].count("socket:") == 3  # the one it answers on, and the two ends of its event loop's bell


def test_what_the_learner_before_leaves_running_has_ended(warm):
    """It would speak up in the next one's processes, or hold the fence's answer back."""
    source = "import os, time\nfor _ in range(5):\n    if os.fork() == 0:\n        os.setsid()\n        time.sleep(60)"
    warm.run(_task(source))
    assert _look(warm, "bo")["processes"] == [1, 2]


def test_nothing_is_left_by_practice_but_what_the_library_keeps(warm, practised):
    before, after = _look(warm, "amara"), _look(practised, "amara")
    assert before.pop("chance") != after.pop("chance")
    assert after == before
    kept = "from halfcycle.wiring import _template\nprint(_template.cache_info().currsize)"
    assert [int(_said(one.run(_task(kept)))) > 0 for one in (warm, practised)] == [False, True]


def test_practice_that_does_not_end_is_ended_and_leaves_the_shell_as_it_was():
    source = """
import os, signal
from autograde.behind import practice, shell
one, practice._MOST_SECONDS = shell.prepare(), 0.3
before = dict(os.environ)
practice.practise([["import os\\nos.environ['LEFT'] = '1'", "while True: pass"], ["print('never')"]], shell.ZMQInteractiveShell)
print(shell.ZMQInteractiveShell.instance() is one, os.environ == before, signal.getsignal(signal.SIGALRM) == signal.SIG_DFL)
"""
    done = subprocess.run([sys.executable, "-c", source], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout == "True True True\n"


def test_the_looks_would_see_what_is_left(warm):
    """In one notebook everything is found that the tests above must not find."""
    import json

    source = LEAVES.replace("builtins.abs = lambda x: 0", "").replace("get_ipython().ast_transformers.append(None)", "")
    result = warm.run(_task(source, LOOKS))
    found = json.loads(_said(result, 1).splitlines()[-1])
    assert len(found["modules"]) >= 7 and found["names"] and found["globals"] and found["environment"]
    assert found["lines"] == 77 and found["shell"][1] and found["files"] and found["memory"]
    assert len(found["processes"]) > 2 and found["mask"] == 0
    assert found["niceness"] == _look(warm, "bo")["niceness"] + 5


# What comes out is a stranger's


def _forge(line):
    return f"import os, socket\nfor n in range(3, 100):\n    try:\n        one = socket.socket(fileno=n)\n    except OSError:\n        continue\n    one.sendall({line!r})\n    one.detach()\n"


@pytest.mark.parametrize(
    "line",
    [
        b"not json\n",
        b'{"kind": "done", "content": 5}\n',
        b'{"a": ' * 100_000 + b"\n",
        b'{"cell": 0, "kind": "display_data", "content": {"data": ' + b"[" * 60 + b"]" * 60 + b"}}\n",
        b'{"cell": 0, "kind": "stream", "content": {"text": {"a": 1}}}\n',
        b'{"kind": "refused"}\n',
        b"\xff\xfe\n",
        b'{"cell": 0, "kind": "error", "content": {"traceback": "x"}}\n',
        b'{"cell": 99, "kind": "begin"}\n',
        b'{"cell": 0, "kind": [], "content": {}}\n',
        b'{"cell": 0, "kind": {}, "content": {}}\n',
        b'{"cell": 0, "kind": "execute_result", "content": {"execution_count": "x", "data": []}}\n',
    ],
)
def test_forged_frames_stop_nobody(warm, line):
    result = warm.run(_task(_forge(line), "print('goes on')"))
    assert _said(warm.run(_task("print('next')"))) == "next\n"
    assert result["stopped"] == "" or "0" in result["cells"]


def test_a_frame_too_long_is_dropped_and_memory_stays(warm):
    import resource

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    source = _forge(b"x" * 2**20).replace("one.sendall", "for _ in range(200): one.sendall")
    result = warm.run(_task(source, "print('after')"))
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 < 100 * 2**20
    assert "Python ended" in result["stopped"] or "1" in result["cells"]


def test_output_is_bounded_and_answers_are_kept(warm):
    flood = "for _ in range(2000):\n    print('x' * 10_000)"
    many = "from IPython.display import display\nfor n in range(3000):\n    display(n)"
    slip = "from halfcycle.lesson import hand_in\nhand_in('90-volts', 24.5, 'V')"
    result = warm.run(_task(flood, many, slip, graded=(2,)))
    assert "printed more" in result["stopped"]
    assert len(_said(result)) <= Limits().output_bytes
    assert len(_shown(result, 1)) <= 1000
    assert MIME in _shown(result, 2)[0]["data"]


# Where it cannot be warm


def test_where_no_warm_interpreter_starts_a_kernel_is_used_and_that_is_said_once(monkeypatch, capsys):
    monkeypatch.setattr(fences.Fence, "zygote", lambda self, number: ["false"])
    with pytest.raises(NotWarm):
        Warm(fence()).run(_task("1"))
    executor = Executor(fence())
    assert _said(executor.run(_task("print('by a kernel')"))) == "by a kernel\n"
    executor.run(_task("1"))
    assert capsys.readouterr().err.count("behind the same fence, which is slower") == 1


def test_a_fork_that_cannot_go_apart_is_not_used(monkeypatch):
    """Without the right to unshare nothing of the learner's is run; the interpreter itself starts all the same."""
    monkeypatch.setattr(fences, "_ZYGOTE_RIGHTS", ())
    made = Warm(fence())
    with pytest.raises(NotWarm):
        made.run(_task("print('never')"))
    made.close()


def test_a_warm_interpreter_that_was_killed_is_replaced(warm):
    warm.run(_task("1"))
    warm._process.kill()
    warm._process.wait()
    assert _said(warm.run(_task("print('again')"))) == "again\n"


def test_without_a_fence_there_is_a_kernel():
    assert _said(Executor(NoFence()).run(_task("print('by a kernel')"))) == "by a kernel\n"
