"""What the first cell of a lesson imports: `begin`, `check`, `hand_in`, `bench`, and the figures by their own names.

Benches and figures bring the drawing libraries along, so they are loaded when they are first asked for.
"""

import importlib
import importlib.util
from html import escape

from halfcycle import variants
from halfcycle.gentle import install
from halfcycle.practice import check
from halfcycle.showing import quantity, show
from halfcycle.slips import hand_in

__all__ = ["begin", "bench", "check", "hand_in"]

_CELL = "text-align:left;padding:0.2em 1.2em 0.2em 0"


def begin(lesson):
    """Show whose circuit this is and its values, and return it (a `halfcycle.variants.Circuit`).

    ``lesson`` is "01", or the folder name of the lesson. In a notebook, errors are from here on explained in plain words.

    >>> begin("01").lesson  # doctest: +ELLIPSIS
    Learner ...
    '01'
    """
    install(_shell())
    course, learner = variants.who()
    circuit = variants.circuit(course, lesson, learner)
    show(_text(circuit), _table(circuit))
    return circuit


def bench(name, circuit):
    """Open the bench called ``name`` ("rectifier", ...), set to the values of ``circuit``; show it as a cell's last line."""
    from halfcycle import benches

    return benches.bench(name, circuit)


def __getattr__(name):
    if not name.startswith("_") and importlib.util.find_spec("halfcycle.figures"):
        figures = importlib.import_module("halfcycle.figures")
        if name in figures.__all__:
            return getattr(figures, name)
    raise AttributeError(f"halfcycle.lesson has no {name!r}")


def _shell():
    from IPython import get_ipython

    return get_ipython()


def _head(circuit):
    return f"Learner {circuit.learner}, course {circuit.course}, lesson {circuit.lesson}"


def _text(circuit):
    lines = [f"  {words}: {quantity(value, unit)} ({name})" for name, value, unit, words in circuit.entries]
    return "\n".join([f"{_head(circuit)}. Your own circuit:", *lines])


def _table(circuit):
    heads = "".join(
        f'<th scope="col" style="{_CELL}">{text}</th>'
        for text in ("Your own circuit", "Value", "Name in the questions")
    )
    rows = "".join(
        f'<tr><th scope="row" style="{_CELL};font-weight:normal">{escape(words)}</th>'
        f'<td style="{_CELL}"><b>{escape(quantity(value, unit))}</b></td><td style="{_CELL}"><code>{escape(name)}</code></td></tr>'
        for name, value, unit, words in circuit.entries
    )
    caption = f'<caption style="text-align:left;padding:0.3em 0">{escape(_head(circuit))}</caption>'
    return f"<table>{caption}<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
