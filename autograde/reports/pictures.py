"""The report's pictures: small inline SVG, each with its numbers in words for those who cannot see it."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from autograde.reports.facts import KINDS

__all__ = ["COLOURS", "LETTERS", "count_bar", "legend", "marks_bar", "stack_bar"]

# Okabe and Ito, "Color Universal Design" (2008), published values.
COLOURS = {
    "right": "#009E73",
    "known slip": "#E69F00",
    "other answer": "#D55E00",
    "no answer": "#FFFFFF",
    "line": "#000000",
    "blue": "#0072B2",
}
# A pattern and a letter stand beside every colour, for print and for eyes that do not tell colours apart.
LETTERS = {"right": "✓", "known slip": "≈", "other answer": "✗", "no answer": "–"}
_INK = {"right": "#FFFFFF", "known slip": "#000000", "other answer": "#FFFFFF", "no answer": "#444444"}
_STRIPES = {"known slip": "M-2,2 l4,-4 M0,8 l8,-8 M6,10 l4,-4", "other answer": "M0,2 h8 M0,6 h8"}


def _svg(width: float, height: float, label: str, body: str, name: str) -> str:
    stretch = "" if "<text" in body else ' preserveAspectRatio="none"'
    return (
        f'<svg class="{name}" viewBox="0 0 {width:g} {height:g}"{stretch} role="img" aria-label="{escape(label)}">'
        f"<title>{escape(label)}</title>{body}</svg>"
    )


def marks_bar(share: float, label: str) -> str:
    """A thin bar filled to ``share`` (0 to 1)."""
    share = min(1.0, max(0.0, share))
    body = '<rect x="0.5" y="0.5" width="99" height="9" fill="#fff" stroke="#777"/>'
    body += f'<rect x="0.5" y="0.5" width="{99 * share:.1f}" height="9" fill="{COLOURS["blue"]}"/>'
    return _svg(100, 10, label, body, "marks")


def count_bar(count: int, most: int, label: str) -> str:
    """A bar of ``count`` out of ``most`` with one tick for each learner, so that it can be counted."""
    most = max(1, most)
    step = 100 / most
    body = '<rect x="0" y="0" width="100" height="10" fill="#eee"/>'
    body += f'<rect x="0" y="0" width="{count * step:.2f}" height="10" fill="{COLOURS["known slip"]}"/>'
    if most <= 40:
        body += "".join(
            f'<rect x="{tick * step - 0.2:.2f}" y="0" width="0.4" height="10" fill="#fff"/>' for tick in range(1, most)
        )
    return _svg(100, 10, label, body, "count")


def stack_bar(counts: Mapping[str, int], label: str) -> str:
    """How a cohort answered one item: one stretch for each of `KINDS`, patterned, with its number in it."""
    total, at, body = max(1, sum(counts.values())), 0.0, ""
    for kind in KINDS:
        width = 320 * counts.get(kind, 0) / total
        if width:
            body += _stretch(kind, at, width, f"{LETTERS[kind]}{counts[kind]}")
        at += width
    body += '<rect x="0.5" y="0.5" width="319" height="21" fill="none" stroke="#000" stroke-width="1"/>'
    return _svg(320, 22, label, body, "stack")


def _stretch(kind: str, at: float, width: float, text: str) -> str:
    body = f'<rect x="{at:.1f}" y="0" width="{width:.1f}" height="22" fill="{COLOURS[kind]}" stroke="#000"/>'
    if kind in _STRIPES:
        body += f'<rect x="{at:.1f}" y="0" width="{width:.1f}" height="22" fill="url(#{_pattern_name(kind)})"/>'
    if width < 18:
        return body
    middle, half = at + width / 2, 5 + 4 * len(text)
    back = f'<rect x="{middle - half:.1f}" y="3" width="{2 * half}" height="16" rx="3" fill="{COLOURS[kind]}"/>'
    return body + back + f'<text x="{middle:.1f}" y="16" text-anchor="middle" fill="{_INK[kind]}">{text}</text>'


def _pattern_name(kind: str) -> str:
    return kind.replace(" ", "-")


def legend() -> str:
    """The key to `stack_bar`, and the patterns it draws with (once for the whole page)."""
    patterns = "".join(
        f'<pattern id="{_pattern_name(kind)}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<path d="{path}" stroke="#000" stroke-opacity="0.45" stroke-width="1.2" fill="none"/></pattern>'
        for kind, path in _STRIPES.items()
    )
    defs = f'<svg width="0" height="0" aria-hidden="true" style="position:absolute"><defs>{patterns}</defs></svg>'
    keys = "".join(
        f'<span class="key"><svg viewBox="0 0 34 22" aria-hidden="true">{_stretch(kind, 0, 34, LETTERS[kind])}</svg>'
        f"{escape(kind)}</span>"
        for kind in KINDS
    )
    return f'{defs}<p class="legend">{keys}</p>'
