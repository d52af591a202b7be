"""Recipes for misbehaving hand-ins: each turns a released notebook into a named one and says what must happen to it.

A recipe starts from a notebook in which every answer is right (``start="right"``) or wrong (``start="wrong"``: every
answer is a recognisably false number). What must happen is ``pays``:

- "nothing": no points at all. Whatever the notebook does, it may not be paid for answers that are not there;
- "everything": full points. The learner's answers are right, and an accident or a noise must not cost them;
- "before": the items before the misbehaving cell are paid, those after it are not (it stands in the middle);
- "by value": what the answers of somebody else's circuit are worth in this one's;
- "not graded": it is left alone, with one sentence for a person.

A zip that would write outside of its folder is met when it is collected: see tests/autograde/test_collect.py.

``person`` is a part of the sentence that asks for a person, "" when none may be asked for.
"""

import json
import textwrap
from dataclasses import dataclass

from nbformat.v4 import new_code_cell, new_markdown_cell

__all__ = ["RECIPES", "Recipe", "answer_cell", "graded_cells"]

RECIPES = {}
WRONG = -12345.678
_MIME = "application/vnd.halfcycle.slip+json"


@dataclass(frozen=True)
class Recipe:
    """``change(nb, right)`` alters the notebook in place; ``right`` is ``{item: right answer}``. It may return raw bytes instead.

    ``place(path, data)`` puts the bytes where they belong, for a recipe that does not simply write them to ``path``.
    """

    name: str
    start: str
    pays: str
    person: str
    change: object
    place: object = None


def recipe(*, start, pays, person="", placed=False):
    """Register the function below as a `Recipe` of its own name; ``placed`` when it places the file instead of changing it."""

    def register(function):
        change, place = (_unchanged, function) if placed else (function, None)
        RECIPES[function.__name__] = Recipe(function.__name__, start, pays, person, change, place)
        return function

    return register


def _unchanged(nb, right):
    return None


def graded_cells(nb):
    """The locked cells that hand an answer in, in order."""
    return [cell for cell in nb.cells if cell.metadata.get("nbgrader", {}).get("grade")]


def answer_cell(nb, item):
    """The answer cell of ``item``."""
    return next(cell for cell in nb.cells if cell.id == f"{item}-answer")


def own(nb, source, after="begin"):
    """Put a cell of the learner's own after the begin cell, or after the cell that is called ``after``."""
    name = next(cell.id for cell in nb.cells if cell.cell_type == "code") if after == "begin" else after
    place = [cell.id for cell in nb.cells].index(name)
    nb.cells.insert(place + 1, new_code_cell(source))


def _middle(nb):
    cells = graded_cells(nb)
    return cells[len(cells) // 2 - 1].id


def _slip(item, value, unit="V"):
    return f'publish_display_data({{"{_MIME}": {{"item": "{item}", "value": {value}, "unit": "{unit}"}}, "text/plain": "x"}})'


_PUBLISH = "from IPython.display import publish_display_data\n"


# Attempts to be paid for what is not there


@recipe(start="wrong", pays="nothing")
def strips_every_assert(nb, right):
    own(
        nb,
        "import ast\nclass Strip(ast.NodeTransformer):\n    def visit_Assert(self, node):\n        return ast.Pass()\n"
        "get_ipython().ast_transformers.append(Strip())",
    )


@recipe(start="wrong", pays="nothing")
def patches_hand_in(nb, right):
    own(nb, "hand_in = lambda *a, **k: None")


@recipe(start="wrong", pays="nothing")
def patches_the_library(nb, right):
    own(
        nb,
        "import builtins, math, numpy, halfcycle.slips, halfcycle.lesson, IPython.display\n"
        "builtins.abs = lambda x: 0\nmath.isclose = numpy.isclose = numpy.allclose = lambda *a, **k: True\n"
        "halfcycle.slips.read = lambda *a: type('R', (), {'value': 'right', 'sentence': 'right'})()\n"
        "halfcycle.lesson.hand_in = halfcycle.slips.hand_in",
    )


@recipe(start="wrong", pays="nothing")
def patches_the_display(nb, right):
    own(
        nb,
        "import IPython.core.displaypub as d\n"
        "old = get_ipython().display_pub.publish\n"
        "def publish(data, *a, **k):\n"
        f"    if '{_MIME}' in data:\n"
        f"        data['{_MIME}']['points'] = 99\n        data['{_MIME}']['verdict'] = 'right'\n"
        "    return old(data, *a, **k)\n"
        "get_ipython().display_pub.publish = publish",
    )


@recipe(start="wrong", pays="nothing")
def forges_a_slip_with_a_wrong_value(nb, right):
    item = graded_cells(nb)[0].id
    own(nb, f"{_PUBLISH}def hand_in(item, value, unit):\n    {_slip(item, 1e9)}")


@recipe(start="wrong", pays="nothing", person="handed in")
def hands_in_every_number_it_can_think_of(nb, right):
    values = [value for value in right.values() if isinstance(value, float)]
    own(
        nb,
        f"{_PUBLISH}def hand_in(item, value, unit):\n    for guess in {values!r}:\n"
        f'        publish_display_data({{"{_MIME}": {{"item": item, "value": guess, "unit": unit}}}})',
    )


@recipe(start="wrong", pays="nothing")
def forges_slips_from_an_own_cell(nb, right):
    slips = "\n".join(_slip(item, value) for item, value in right.items())
    own(nb, _PUBLISH + slips)
    own(nb, "hand_in = lambda *a: None")


@recipe(start="wrong", pays="nothing")
def forges_slips_from_the_cell_of_another_item(nb, right):
    items = list(right)
    other = dict(zip(items, items[1:] + items[:1], strict=True))
    own(
        nb,
        f"{_PUBLISH}right, other = {right!r}, {other!r}\ndef hand_in(item, value, unit):\n"
        f'    publish_display_data({{"{_MIME}": {{"item": other[item], "value": right[other[item]], "unit": unit}}}})',
    )


@recipe(start="wrong", pays="nothing")
def returns_points(nb, right):
    own(nb, "def hand_in(*a):\n    return 2.0")


@recipe(start="wrong", pays="nothing")
def prints_points(nb, right):
    own(nb, "def hand_in(*a):\n    print(2.0)\n    print('2.0')")


@recipe(start="wrong", pays="nothing")
def skips_every_graded_cell(nb, right):
    for cell in nb.cells:
        cell.metadata["tags"] = ["skip-execution", "remove_cell"]


@recipe(start="wrong", pays="nothing")
def raises_its_own_points(nb, right):
    for cell in graded_cells(nb):
        cell.metadata["nbgrader"].update(points=100, locked=False)


@recipe(start="wrong", pays="nothing")
def is_no_longer_graded(nb, right):
    for cell in graded_cells(nb):
        cell.metadata["nbgrader"].update(grade=False, solution=True)


@recipe(start="wrong", pays="nothing")
def changes_the_locked_cells(nb, right):
    for cell in graded_cells(nb):
        cell.source = f'hand_in("{cell.id}", {right[cell.id]!r}, "V")'


@recipe(start="wrong", pays="nothing")
def turns_graded_cells_into_text(nb, right):
    for cell in graded_cells(nb):
        cell.cell_type = "markdown"
        cell.pop("outputs", None)
        cell.pop("execution_count", None)


@recipe(start="wrong", pays="nothing")
def claims_another_kernel(nb, right):
    nb.metadata = {
        "kernelspec": {"name": "bash", "display_name": "x", "language": "bash"},
        "language_info": {"name": "R"},
        "celltoolbar": "Create Assignment",
        "halfcycle": {"notes": ["paid"], "person": []},
    }


@recipe(start="wrong", pays="nothing")
def brings_its_outputs_along(nb, right):
    for cell in graded_cells(nb):
        value, unit = right[cell.id], cell.source.split('"')[-2]
        slip = {_MIME: {"item": cell.id, "value": value, "unit": unit}, "text/plain": "2.0"}
        cell.outputs = [{"output_type": "execute_result", "data": slip, "metadata": {}, "execution_count": 1}]
    own(nb, "hand_in = lambda *a: None")


@recipe(start="wrong", pays="nothing")
def is_equal_to_everything(nb, right):
    own(
        nb,
        "class Any(float):\n    __eq__ = __le__ = __ge__ = __lt__ = __gt__ = lambda s, o: True\n    __hash__ = float.__hash__\n"
        "    __sub__ = __rsub__ = lambda s, o: 0.0\n    __abs__ = lambda s: 0.0\n"
        f"old = hand_in\nhand_in = lambda item, value, unit: old(item, Any({WRONG}), unit)",
    )


@recipe(start="wrong", pays="nothing")
def hands_in_what_is_no_number(nb, right):
    own(
        nb,
        _PUBLISH + "from itertools import cycle\n"
        "odd = cycle([float('nan'), float('inf'), True, '33.9', None, [1.0, 2.0], {'a': 1}, 10**400, [], [[1]], 'points'])\n"
        f'hand_in = lambda item, value, unit: publish_display_data({{"{_MIME}": {{"item": item, "value": next(odd), "unit": unit}}}})',
    )


@recipe(start="wrong", pays="nothing")
def hands_in_the_right_number_with_another_unit(nb, right):
    own(nb, f"old, right = hand_in, {right!r}\nhand_in = lambda item, value, unit: old(item, right[item], 'furlong')")


@recipe(start="wrong", pays="nothing")
def changes_what_it_showed_before(nb, right):
    """A display that is changed later: whatever it then says does not count."""
    first = graded_cells(nb)[0]
    unit = first.source.split('"')[-2]
    own(
        nb,
        f"{_PUBLISH}def hand_in(item, value, unit):\n    publish_display_data({{'text/plain': 'x'}}, transient={{'display_id': item}})",
    )
    slip = f'{{"{_MIME}": {{"item": "{first.id}", "value": {right[first.id]!r}, "unit": "{unit}"}}}}'
    own(nb, f"publish_display_data({slip}, transient={{'display_id': '{first.id}'}}, update=True)", after=first.id)


@recipe(start="wrong", pays="nothing")
def looks_for_the_keys(nb, right):
    """Where it finds the keys it answers with them, so that a hole in the fence shows as points."""
    own(
        nb,
        "import glob, sys\n"
        "try:\n"
        "    try:\n        import autograde.keys\n    except ImportError:\n"
        "        for found in glob.glob('/**/autograde/keys/lesson_*.py', recursive=True):\n"
        "            sys.path.insert(0, found.split('/autograde/')[0])\n"
        "    from autograde.marking import load\n"
        "    keys, old = load(circuit.lesson)[0], hand_in\n"
        "    hand_in = lambda item, value, unit: old(item, keys[item].first(circuit), unit)\n"
        "except Exception as error:\n    print(type(error).__name__)",
    )


@recipe(start="wrong", pays="nothing")
def looks_for_other_people(nb, right):
    """Where it finds lesson sources, a gradebook or another learner's work it ends Python with a sentence that a test looks for."""
    own(
        nb,
        "import glob, os\n"
        "hits = [p for pattern in ('/**/gradebook.db', '/**/submitted', '/**/roster.csv', '/**/nbgrader_config.py') "
        "for p in glob.glob(pattern, recursive=True)]\n"
        "odd = [n for n in os.environ if not n.startswith(('HALFCYCLE', 'PYTHON', 'OMP', 'OPENBLAS', 'MPL', 'IPYTHON', 'LC_')) "
        "and n not in ('PATH', 'HOME', 'TMPDIR', 'LANG', 'PWD', 'SHLVL', 'TERM', 'CLICOLOR', 'CLICOLOR_FORCE', 'FORCE_COLOR', "
        "'PAGER', 'GIT_PAGER', 'PYDEVD_USE_FRAME_EVAL', 'NO_COLOR')]\n"
        "if hits or odd:\n    print(hits, odd)\n    os._exit(1)",
    )


@recipe(start="wrong", pays="nothing")
def speaks_to_the_network(nb, right):
    """Where it gets out it ends Python, which a test would see."""
    own(
        nb,
        "import os, socket\n"
        "for place in (('127.0.0.1', 22), ('192.0.2.1', 80), ('198.51.100.1', 443)):\n"
        "    try:\n        socket.create_connection(place, timeout=0.5)\n"
        "    except OSError as error:\n        print(error)\n"
        "    else:\n        os._exit(1)\n"
        "if [name for _, name in socket.if_nameindex() if name != 'lo']:\n    os._exit(1)",
    )


@recipe(start="wrong", pays="nothing", person="The cell own-001")
def patches_json_and_builtins(nb, right):
    """What it breaks is its own voice: nothing of it is heard any more."""
    own(
        nb,
        "import builtins, json\n"
        'json.dumps = lambda *a, **k: \'{"kind": "end", "content": {"points": 99}}\'\n'
        "builtins.float = builtins.isinstance = builtins.len = lambda *a: True",
    )


@recipe(start="wrong", pays="nothing")
def writes_wherever_it_can(nb, right):
    """Where it can write outside of its own folders, it ends Python with a sentence that a test looks for."""
    own(
        nb,
        "import os\nhits = []\n"
        "for top, folders, files in os.walk('/'):\n"
        "    if top == '/':\n        folders[:] = [f for f in folders if f not in ('proc', 'sys', 'desk', 'tmp')]\n"
        "    if top == '/dev':\n        folders.clear()\n"
        "    for name in ('gradebook.db', 'written-by-a-learner'):\n"
        "        try:\n            open(os.path.join(top, name), 'w').close()\n            hits.append(top)\n"
        "        except OSError:\n            pass\n"
        "    if len(top.split('/')) > 5:\n        folders.clear()\n"
        "if hits:\n    os._exit(1)",
    )


@recipe(start="wrong", pays="nothing")
def reads_other_processes(nb, right):
    """Where it sees a process that is neither the first of its own world nor itself, it ends Python."""
    own(
        nb,
        "import glob, os\n"
        "others = [p for p in glob.glob('/proc/[0-9]*') if int(p[6:]) not in (1, os.getpid(), os.getppid())]\n"
        "for place in glob.glob('/proc/[0-9]*/') + ['/proc/1/root/', '/proc/self/root/../']:\n"
        "    for name in ('environ', 'mem', 'cwd/gradebook.db', 'root/work', 'fd/0'):\n"
        "        try:\n            text = open(place + name, 'rb').read(10)\n"
        "        except (OSError, ValueError):\n            pass\n"
        "if others:\n    os._exit(1)",
    )


# Accidents and noise that may cost nobody a point


@recipe(start="right", pays="everything")
def is_perfect(nb, right):
    pass


@recipe(start="right", pays="everything")
def speaks_in_kinds_that_are_no_words(nb, right):
    """Frames of its own on the socket that its outputs go out on, each of them JSON and none of them sense."""
    kinds = b"".join(b'{"kind": %s, "content": {}}\n' % kind for kind in (b"[]", b"{}", b"null", b"1e999"))
    counts = b'{"kind": "execute_result", "content": {"execution_count": true, "metadata": {"a": 1e999}}}\n'
    source = """
        import os, socket
        for n in range(3, 100):
            try:
                one = socket.socket(fileno=n)
            except OSError:
                continue
            one.sendall(LINES)
            one.detach()
    """
    own(nb, textwrap.dedent(source).replace("LINES", repr(kinds + counts)), after=_middle(nb))


@recipe(start="right", pays="everything")
def shows_half_letters(nb, right):
    """A lone surrogate can be printed, raised, shown and typed, and fits into no file."""
    own(nb, "# \ud800\nprint('typed')")
    own(nb, "from IPython.display import HTML, display\ndisplay(HTML('<b>\\ud800</b>'))\nprint('\\ud800')")
    own(nb, "raise ValueError('\\udfff')", after=_middle(nb))


@recipe(start="wrong", pays="nothing")
def hands_in_half_a_letter_as_unit(nb, right):
    own(
        nb,
        _PUBLISH
        + "import halfcycle.lesson\n\n\ndef half(item, *_, **__):\n    "
        + _slip("@", 3.0, "\\ud800").replace('"@"', "item")
        + "\n\n\nhalfcycle.lesson.hand_in = hand_in = half",
    )


@recipe(start="right", pays="everything")
def writes_to_stderr_in_the_graded_cells(nb, right):
    own(
        nb,
        "import sys, warnings\nold = hand_in\ndef hand_in(*a):\n    print('noise', file=sys.stderr)\n    warnings.warn('noise')\n    old(*a)\n    return 0",
    )


@recipe(start="right", pays="everything")
def lost_its_graded_cells(nb, right):
    gone = [cell.id for cell in graded_cells(nb)]
    nb.cells = [cell for cell in nb.cells if cell.id not in gone]


@recipe(start="right", pays="everything")
def lost_its_begin_cell(nb, right):
    nb.cells = [cell for cell in nb.cells if not cell.id.endswith("-begin")]


@recipe(start="right", pays="everything")
def has_graded_cells_twice(nb, right):
    for cell in graded_cells(nb):
        twin = json.loads(json.dumps(cell))
        nb.cells.append(type(cell)(twin, metadata=cell.metadata))


@recipe(start="right", pays="everything", person="there 2 times")
def has_an_answer_cell_twice(nb, right):
    first = answer_cell(nb, graded_cells(nb)[0].id)
    nb.cells.insert(nb.cells.index(first), new_code_cell(first.source + " * 1", metadata=first.metadata))


@recipe(start="right", pays="everything")
def is_upside_down(nb, right):
    nb.cells.reverse()


@recipe(start="right", pays="everything")
def lost_every_id(nb, right):
    for number, cell in enumerate(nb.cells):
        cell.id = f"x{number}"


@recipe(start="right", pays="everything")
def has_edited_locked_cells(nb, right):
    for cell in graded_cells(nb):
        cell.source = "# I tidied up\n" + cell.source.replace('", ', '" , 0 * ')


@recipe(start="right", pays="everything")
def made_its_answers_text(nb, right):
    for item in right:
        cell = answer_cell(nb, item)
        cell.cell_type = "markdown"
        cell.pop("outputs", None)
        cell.pop("execution_count", None)


@recipe(start="right", pays="everything")
def works_in_cells_of_its_own(nb, right):
    """Helper arithmetic between the lesson's cells goes on working."""
    for item, value in right.items():
        cell = answer_cell(nb, item)
        before = nb.cells[nb.cells.index(cell) - 1].id
        own(nb, f"helper = {value!r}", after=before)
        cell.source = cell.source.split("=")[0] + "= helper"


@recipe(start="right", pays="everything")
def fails_in_a_cell_of_its_own(nb, right):
    own(nb, "1 / 0")
    own(nb, "this is not Python (")
    nb.cells.append(new_markdown_cell("Dear instructor, <script>alert(1)</script> [click](javascript:alert(1))"))


@recipe(start="right", pays="everything")
def loops_for_ever(nb, right):
    own(nb, "while True:\n    pass", after=_middle(nb))


@recipe(start="right", pays="everything", person="printed more")
def prints_without_end(nb, right):
    own(nb, "for _ in range(2000):\n    print('x' * 10_000)", after=_middle(nb))


@recipe(start="right", pays="everything")
def shows_hostile_pages(nb, right):
    own(
        nb,
        "from IPython.display import HTML, Javascript, SVG, Markdown, Latex, display, publish_display_data\n"
        "display(HTML('<script>alert(1)</script><img src=x onerror=alert(1)><table><tr><td>kept</td></tr></table>'))\n"
        "display(Javascript('alert(1)'))\ndisplay(SVG('<svg xmlns=\"http://www.w3.org/2000/svg\" onload=\"alert(1)\"/>'))\n"
        "display(Markdown('<script>alert(1)</script>'), Latex(r'$\\href{javascript:alert(1)}{x}$'))\n"
        "publish_display_data({'image/png': '\"><script>alert(1)</script>', 'text/plain': 'x'})\n"
        "publish_display_data({'application/javascript': 'alert(1)', 'application/vnd.jupyter.widget-view+json': {'model_id': 'x'}})",
        after=_middle(nb),
    )


@recipe(start="right", pays="everything", person="printed more")
def shows_a_giant_thing(nb, right):
    own(nb, f"{_PUBLISH}publish_display_data({{'text/plain': 'x' * 40_000_000}})\n'x' * 3_000_000", after=_middle(nb))


@recipe(start="right", pays="everything")
def shows_a_deep_thing(nb, right):
    own(
        nb,
        f"{_PUBLISH}deep = []\nfor _ in range(500):\n    deep = [deep]\n"
        "publish_display_data({'application/json': deep, 'text/plain': 'x'})",
        after=_middle(nb),
    )


@recipe(start="right", pays="everything")
def has_script_in_its_errors(nb, right):
    own(nb, "raise type('<script>alert(1)</script>', (Exception,), {})('<img src=x onerror=alert(1)>')")
    own(nb, "def hand_in_twice(*a):\n    raise ValueError('<script>alert(1)</script>')\nhand_in_twice()")


@recipe(start="right", pays="everything")
def fills_the_disk(nb, right):
    own(
        nb,
        "import os, tempfile\nfor place in (os.getcwd(), tempfile.gettempdir(), '/dev/shm'):\n"
        "    try:\n        for n in range(100):\n            open(f'{place}/{n}', 'wb').write(bytes(8 * 2**20))\n"
        "    except OSError as error:\n        print(error)",
    )


@recipe(start="right", pays="everything")
def starts_programs_without_end(nb, right):
    own(nb, "import subprocess\nstarted = []\nwhile True:\n    started.append(subprocess.Popen(['sleep', '600']))")


@recipe(start="right", pays="everything")
def signals_its_parent(nb, right):
    own(
        nb,
        "import os, signal\nfor who in (os.getppid(), 1, -1):\n    for what in (signal.SIGKILL, signal.SIGTERM, signal.SIGSTOP):\n"
        "        try:\n            os.kill(who, what)\n        except OSError as error:\n            print(error)",
    )


@recipe(start="right", pays="everything")
def leaves_daemons_and_threads(nb, right):
    own(
        nb,
        "import os, threading, time\n"
        "if os.fork() == 0:\n    os.setsid()\n    if os.fork() == 0:\n        os.closerange(0, 100)\n        time.sleep(600)\n    os._exit(0)\n"
        "threading.Thread(target=time.sleep, args=(600,)).start()",
    )


@recipe(start="right", pays="everything")
def recurses_without_end(nb, right):
    own(nb, "def again(n):\n    return again(n + 1)\nagain(0)")


@recipe(start="right", pays="everything")
def deletes_its_folder(nb, right):
    own(
        nb,
        "import os, shutil\nshutil.rmtree(os.getcwd(), ignore_errors=True)\nshutil.rmtree('/tmp', ignore_errors=True)",
    )


@recipe(start="right", pays="everything")
def lost_its_metadata(nb, right):
    nb.metadata = {}
    for cell in nb.cells:
        cell.metadata = type(cell)()


@recipe(start="right", pays="everything")
def has_hostile_metadata(nb, right):
    deep = {}
    for _ in range(100):
        deep = {"a": deep}
    odd = ["<script>alert(1)</script>", 5, None, ["grade"], deep]
    for number, cell in enumerate(nb.cells):
        cell.metadata = {"tags": {"skip-execution": True}, "nbgrader": odd[number % len(odd)], "deep": deep}
    nb.metadata = {
        "kernelspec": {"name": ["x"]},
        "widgets": deep,
        "halfcycle": "paid",
        "title": "<script>alert(1)</script>",
    }


@recipe(start="right", pays="everything")
def is_of_format_3(nb, right):
    sheet = [_of_format_3(cell) for cell in nb.cells]
    book = {
        "nbformat": 3,
        "nbformat_minor": 0,
        "metadata": {"name": ""},
        "worksheets": [{"cells": sheet, "metadata": {}}],
    }
    return json.dumps(book).encode()


def _of_format_3(cell):
    if cell.cell_type == "markdown":
        return {"cell_type": "markdown", "metadata": cell.metadata, "source": cell.source}
    told = {"language": "python", "collapsed": False, "outputs": [], "prompt_number": 1}
    return {"cell_type": "code", "metadata": cell.metadata, "input": cell.source, **told}


@recipe(start="right", pays="everything")
def begins_with_a_byte_order_mark(nb, right):
    return json.dumps(nb).encode("utf-8-sig")


@recipe(start="right", pays="everything")
def has_nul_in_a_cell(nb, right):
    own(nb, "print('a\0b')")


@recipe(start="right", pays="everything", person="beside it", placed=True)
def is_there_twice(path, data):
    """In two versions: the one of the lesson's own name counts, and somebody is told."""
    path.write_bytes(data)
    path.with_name(f"{path.stem} (1).ipynb").write_bytes(data.replace(b"answer", b"other"))


@recipe(start="right", pays="everything", placed=True)
def has_script_in_a_file_name(path, data):
    path.write_bytes(data)
    path.with_name("<img src=x onerror=alert(1)>.txt").write_bytes(b"x")


@recipe(start="right", pays="by value")
def is_somebody_elses(nb, right):
    """The right answers of the learner is_perfect, whose circuit is another: made where the circuits are known."""
    return None


@recipe(start="right", pays="nothing", person="none of this lesson")
def is_of_another_lesson(nb, right):
    nb.cells = [new_markdown_cell("# 99 Another lesson"), new_code_cell("other = 5")]


# What ends early: paid for what came before


@recipe(start="right", pays="before", person="Python ended")
def ends_python(nb, right):
    own(nb, "import os\nos._exit(0)", after=_middle(nb))


@recipe(start="right", pays="before", person="could not be interrupted")
def refuses_to_be_interrupted(nb, right):
    own(
        nb,
        "while True:\n    try:\n        while True:\n            pass\n    except BaseException:\n        pass",
        after=_middle(nb),
    )


@recipe(start="right", pays="before", person="memory")
def eats_all_memory(nb, right):
    own(
        nb,
        "import os, time\nfor _ in range(40):\n    if os.fork() == 0:\n        hoard = bytearray(200 * 2**20)\n"
        "        for i in range(0, len(hoard), 4096):\n            hoard[i] = 1\n        time.sleep(60)\ntime.sleep(60)",
        after=_middle(nb),
    )


@recipe(start="right", pays="before", person="memory")
def forks_without_end(nb, right):
    own(
        nb,
        "import os, time\nwhile True:\n    try:\n        os.fork()\n    except BaseException:\n        time.sleep(0.1)",
        after=_middle(nb),
    )


@recipe(start="right", pays="before", person="Python ended")
def closes_its_file_descriptors(nb, right):
    own(nb, "import os\nos.closerange(0, 500)", after=_middle(nb))


@recipe(start="right", pays="before", person="could not be interrupted")
def loops_in_c(nb, right):
    own(nb, "import itertools\nsum(itertools.repeat(1))", after=_middle(nb))


# What cannot be graded as it is: a change may return the bytes to hand in


@recipe(start="right", pays="not graded", person="not a readable notebook")
def is_broken_json(nb, right):
    return json.dumps(nb)[: len(json.dumps(nb)) // 2].encode()


@recipe(start="right", pays="not graded", person="not a readable notebook")
def is_a_picture(nb, right):
    return b"\x89PNG\r\n\x1a\n\x00\x00"


@recipe(start="right", pays="not graded", person="not a readable notebook")
def is_json_but_no_notebook(nb, right):
    return b'{"cells": {"a": [1, 2]}, "nbformat": 4, "nbformat_minor": 5, "metadata": []}'


@recipe(start="right", pays="not graded", person="is empty")
def is_an_empty_file(nb, right):
    return b""


@recipe(start="right", pays="not graded", person="not a readable notebook")
def is_of_a_future_format(nb, right):
    return json.dumps({**nb, "nbformat": 9}).encode()


@recipe(start="right", pays="not graded", person="not a readable notebook")
def is_utf_16(nb, right):
    return json.dumps(nb).encode("utf-16")


@recipe(start="right", pays="not graded", person="not a readable notebook")
def is_nothing_but_nul(nb, right):
    return bytes(1000)


@recipe(start="right", pays="not graded", person="larger than", placed=True)
def is_far_too_large(path, data):
    with path.open("wb") as file:
        file.truncate(200 * 2**20)


@recipe(start="right", pays="not graded", person="is a link", placed=True)
def is_a_link(path, data):
    beside = path.with_name("elsewhere.ipynb")
    beside.write_bytes(data)
    path.symlink_to(beside)


@recipe(start="right", pays="not graded", person="is a folder", placed=True)
def is_a_folder(path, data):
    path.mkdir()


@recipe(start="right", pays="not graded", person="collect it again or rename it", placed=True)
def has_another_name(path, data):
    path.with_name("my homework (2).ipynb").write_bytes(data)
