"""The one picture that a bench shows, as HTML: wiring, scope, readings, a sentence, a caution."""

from functools import lru_cache
from html import escape
from importlib.resources import files

from .model import Reading, State

__all__ = ["picture_html", "static_html", "static_text", "style_html"]


@lru_cache(maxsize=1)
def style_html() -> str:
    """The style sheet of all benches, as an element."""
    return f"<style>{files(__package__).joinpath('bench.css').read_text(encoding='utf-8')}</style>"


def picture_html(state: State) -> str:
    """The picture of one state, without its style sheet."""
    readings = "".join(f"<div>{_row(reading)}</div>" for reading in state.readings)
    kind, head = ("hc-danger", "Danger: ") if state.danger else ("hc-careful", "Take care: ")
    return (
        f'<div class="hc-picture"><div class="hc-pair">{state.wiring_svg}{state.scope_svg}</div>'
        f'<dl class="hc-readings">{readings}</dl>'
        f'<p class="hc-sentence">{escape(state.sentence)}</p>'
        f'<p class="hc-caution {kind}"><b>{head}</b>{escape(state.caution)}</p></div>'
    )


def _row(reading: Reading) -> str:
    row = f"<dt>{escape(reading.words)}</dt><dd>{escape(reading.text)}</dd>"
    if besides := reading.besides:
        row += f'<dd class="hc-besides">{escape(besides.words)} {escape(besides.text)}</dd>'
    return row


def static_html(title: str, state: State, controls) -> str:
    """The bench where widgets cannot be shown: the same picture, with where each control stands."""
    stands = "; ".join(
        f"{escape(control.words)}: {escape(control.show(getattr(state.settings, control.name)))}"
        for control in controls
    )
    return (
        f'{style_html()}<div class="hc-bench"><p class="hc-title">{escape(title)}</p>{picture_html(state)}'
        f'<p class="hc-stands">{stands}.</p></div>'
    )


def static_text(title: str, state: State) -> str:
    """The bench in plain text: readings, the sentence, the caution."""
    readings = "; ".join(reading.whole for reading in state.readings)
    return f"Bench: {title}. {readings}. {state.sentence} {state.caution}"
