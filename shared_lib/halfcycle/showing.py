"""Showing a sentence to a learner: as HTML in a notebook, as the same words to a screen reader, a log or a plain prompt."""

from html import escape

from halfcycle.answers import typed

__all__ = ["quantity", "sentence_html", "show"]

_PREFIXED = {"V", "A", "VA", "W", "F", "H", "Hz", "s", "J", "Ω", "ohm"}
_PREFIXES = ((1e6, "M"), (1e3, "k"), (0.1, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def show(text, html, data=None):
    """Display ``html`` with ``text`` as its plain alternative and any further media-type ``data`` in the same output."""
    from IPython import get_ipython
    from IPython.display import publish_display_data

    if get_ipython() is None:
        print(text)
        return
    publish_display_data({"text/plain": text, "text/html": html, **(data or {})})


def sentence_html(head, rest, *, folded="", folded_title=""):
    """Return one sentence, ``head`` in bold, with an optional part that opens on request.

    >>> sentence_html("Recorded", ": 33.9 V for 01-peak.")
    '<p role="status" style="margin:0.4em 0;max-width:60em"><b>Recorded</b>: 33.9 V for 01-peak.</p>'
    """
    line = f'<p role="status" style="margin:0.4em 0;max-width:60em"><b>{escape(head)}</b>{escape(rest)}</p>'
    if not folded:
        return line
    style = "white-space:pre-wrap;margin:0.4em 0 0.4em 1.2em"
    return (
        f'{line}<details><summary>{escape(folded_title)}</summary><div style="{style}">{escape(folded)}</div></details>'
    )


def quantity(value, unit):
    """Return ``value`` with its ``unit``, with a prefix where the bare number would be awkward to read.

    >>> quantity(0.00047, "F"), quantity(0.95, "V"), quantity(150, "ft"), quantity(1500, "Ω"), quantity(18, "AWG")
    ('470 µF', '0.95 V', '150 ft', '1.5 kΩ', '18 AWG')
    """
    if isinstance(value, str) or unit not in _PREFIXED or not value:
        return f"{value if isinstance(value, str) else typed(value, 5)} {unit}".strip()
    size, prefix = next((pair for pair in _PREFIXES if abs(value) >= pair[0] * (1 - 1e-9)), _PREFIXES[-1])
    scale = size if prefix else 1.0
    return f"{typed(value / scale, 5)} {prefix}{'Ω' if unit == 'ohm' else unit}"
