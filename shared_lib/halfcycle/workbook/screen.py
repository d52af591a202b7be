"""A scope's screen with its divisions, ten across and eight up, and the settings of the 1-2-5 series.

The first sample of a wave stands at the left edge and zero volts in the middle of the height. The text alternative gives in
divisions what an eye reads off: where the wave rises, its highest and its lowest point.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..instruments import peak
from ..scope import COLOURS, INK, PAPER, decimate
from ..showing import show
from ..waveforms import Waveform

__all__ = ["ACROSS", "UP", "Setting", "next_setting", "screen_svg", "screen_words", "show_screens", "suited"]

ACROSS, UP = 10, 8
_SIDE = 36.0  # picture units of one division
_LEFT, _TOP = 56.0, 40.0
_FINE = 5  # fine marks in one division
_NOISE = 0.02  # of the whole height: how far a wave must have been below a line before its rise through it counts


@dataclass(frozen=True)
class Setting:
    """What one division stands for: volts up, milliseconds across."""

    volts_per_division: float
    ms_per_division: float

    def __str__(self) -> str:
        return f"one division up is {_said(self.volts_per_division, 'V')}, one division across is {_said(self.ms_per_division, 'ms')}"


def next_setting(least: float) -> float:
    """The smallest of 1, 2, 5, 10, 20, 50 … (and 0.5, 0.2, 0.1 …) that is `least` or more.

    Errors: ValueError unless `least` is above zero.

    >>> [next_setting(least) for least in (0.07, 1.2, 2, 2.1, 8.5, 10.6)]
    [0.1, 2.0, 2.0, 5.0, 10.0, 20.0]
    """
    if not 0 < least < math.inf:
        raise ValueError(f"A setting is chosen for a size above zero, not {least!r}.")
    decade = math.floor(math.log10(least))
    steps = (float(f"{figure}e{power}") for power in (decade, decade + 1) for figure in (1, 2, 5))
    return next(step for step in steps if step >= least * (1 - 1e-9))


def suited(wave: Waveform) -> Setting:
    """The setting at which all of `wave` (V) is on the screen and fills as much of it as the 1-2-5 series allows.

    >>> suited(Waveform.sine(volts_peak=34.0, cycles=2))
    Setting(volts_per_division=10.0, ms_per_division=5.0)
    """
    return Setting(next_setting(max(peak(wave) / (UP / 2), 1e-3)), next_setting(1000 * wave.duration_s / ACROSS))


def show_screens(screens: Sequence[tuple[str, Waveform, Setting]]) -> None:
    """Show one screen, or several side by side, each with its name; the same in words for who cannot see them."""
    words = "\n".join(screen_words(name, wave, setting) for name, wave, setting in screens)
    wide = "30em" if len(screens) == 1 else "22em"
    drawn = "".join(
        f'<div style="flex:1 1 16em;min-width:0;max-width:{wide}">{screen_svg(name, wave, setting)}</div>'
        for name, wave, setting in screens
    )
    show(words, f'<div style="display:flex;flex-wrap:wrap;gap:0.5em;max-width:72em">{drawn}</div>')


def screen_words(name: str, wave: Waveform, setting: Setting) -> str:
    """What the screen shows, in divisions.

    >>> screen_words("Screen", Waveform.sine(volts_peak=30.0, cycles=2), Setting(10.0, 5.0))
    'Screen: one division up is 10 V, one division across is 5 ms. Highest point 3.0 divisions above the zero line, lowest 3.0 divisions below the zero line. The wave rises through the zero line 3.3 divisions from the left edge.'
    """
    up, across = wave.values / setting.volts_per_division, _across(wave, setting)
    on_screen = across <= ACROSS * (1 + 1e-9)
    high, low = (float(np.clip(edge, -UP / 2, UP / 2)) for edge in (up[on_screen].max(), up[on_screen].min()))
    line = 0.0 if low < 0 < high else (high + low) / 2
    where = "the zero line" if line == 0 else "the middle of its swing"
    rises = [f"{rise:.1f}" for rise in _rises(across[on_screen], up[on_screen] - line)]
    said = f"{name}: {setting}. Highest point {_height(high)}, lowest {_height(low)}."
    if np.abs(up[on_screen]).max() > UP / 2:
        said += " The wave leaves the screen."
    return said + (f" The wave rises through {where} {', '.join(rises)} divisions from the left edge." if rises else "")


def screen_svg(name: str, wave: Waveform, setting: Setting) -> str:
    """The screen as an SVG: a grid of divisions with fine marks at every fifth of one, the wave, both scales below."""
    right, bottom = _LEFT + ACROSS * _SIDE, _TOP + UP * _SIDE
    wide, high = right + 22, bottom + 66
    alternative = escape(screen_words(name, wave, setting), quote=True)
    scales = f"1 division up = {_said(setting.volts_per_division, 'V')}   ·   1 division across = {_said(setting.ms_per_division, 'ms')}"
    middle = (_LEFT + right) / 2
    return (
        f'<svg class="hc-screen" viewBox="0 0 {wide:g} {high:g}" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'aria-label="{alternative}" font-family="inherit" font-size="15" fill="{INK}">'
        f'<rect width="{wide:g}" height="{high:g}" rx="6" fill="{PAPER}"/>'
        f'<text x="{middle:g}" y="24" text-anchor="middle">{escape(name)}</text>'
        f"{_grid(right, bottom)}{_line(wave, setting)}"
        f'<text x="{middle:g}" y="{high - 12:g}" text-anchor="middle" font-size="14" font-weight="bold">{scales}</text></svg>'
    )


def _grid(right: float, bottom: float) -> str:
    parts = [f'<rect x="{_LEFT}" y="{_TOP}" width="{right - _LEFT:g}" height="{bottom - _TOP:g}" fill="#ffffff"/>']
    for step in range(ACROSS * _FINE + 1):
        x, whole = _LEFT + step * _SIDE / _FINE, step % _FINE == 0
        parts.append(f'<path d="M{x:.1f} {_TOP}V{bottom:g}" {_pen(whole, False)}/>')
        if whole:
            parts.append(f'<text x="{x:.1f}" y="{bottom + 20:g}" text-anchor="middle">{step // _FINE}</text>')
    for step in range(UP * _FINE + 1):
        y, division = _TOP + step * _SIDE / _FINE, UP // 2 - step // _FINE
        parts.append(f'<path d="M{_LEFT} {y:.1f}H{right:g}" {_pen(step % _FINE == 0, step == UP * _FINE // 2)}/>')
        if step % _FINE == 0:
            label = f"{division}".replace("-", "−") if division else "0 V"
            parts.append(f'<text x="{_LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">{label}</text>')
    return "".join(parts)


def _pen(whole: bool, zero: bool) -> str:
    if zero:
        return f'stroke="{INK}" stroke-width="1.6"'
    return 'stroke="#b3afa2" stroke-width="1.1"' if whole else 'stroke="#e6e2d8" stroke-width="0.6"'


def _line(wave: Waveform, setting: Setting) -> str:
    across = _across(wave, setting)
    kept = np.flatnonzero(across <= ACROSS * (1 + 1e-9))
    kept = kept[decimate(across[kept], wave.values[kept], int(ACROSS * _SIDE))]
    up = np.clip(wave.values[kept] / setting.volts_per_division, -UP / 2, UP / 2)
    points = " ".join(
        f"{_LEFT + x * _SIDE:.1f},{_TOP + (UP / 2 - y) * _SIDE:.1f}" for x, y in zip(across[kept], up, strict=True)
    )
    ink = COLOURS["load"]
    return f'<polyline points="{points}" fill="none" stroke="{ink.colour}" stroke-width="2" stroke-linejoin="round"/>'


def _across(wave: Waveform, setting: Setting) -> np.ndarray:
    return 1000 * (wave.seconds - wave.seconds[0]) / setting.ms_per_division


def _rises(across: np.ndarray, height: np.ndarray) -> list[float]:
    """Where the wave rises through nought, in divisions (twelve at most), each once however noisy the crossing."""
    below = height < -_NOISE * np.ptp(height)
    found, last = [], -1
    for at in np.flatnonzero((height[:-1] < 0) & (height[1:] >= 0)):
        if below[last + 1 : at + 1].any():
            share = height[at] / (height[at] - height[at + 1])
            found.append(float(across[at] + share * (across[at + 1] - across[at])))
            last = at
    return found[:12]


def _height(divisions: float) -> str:
    side = "above" if divisions >= 0 else "below"
    return f"{abs(divisions):.1f} divisions {side} the zero line"


def _said(size: float, unit: str) -> str:
    if size < 1 and unit in ("V", "ms"):
        return f"{1000 * size:g} {'mV' if unit == 'V' else 'µs'}"
    return f"{size:g} {unit}"
