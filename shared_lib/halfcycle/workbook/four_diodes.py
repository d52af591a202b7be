"""The bridge of lesson 04: four diodes and a load, solved and drawn.

The source is stiff and every diode has a drop and no slope worth mentioning, as the lesson reckons. Pictures show
themselves in a notebook, each with the same content in words.
"""

from .. import wiring
from ..amounts import amount
from ..instruments import dc, true_rms
from ..network import Diode
from ..rectifier import SteadyRectified, rectify
from ..scope import Level, Trace, scope_svg
from ..supply import Supply
from .one_diode import straight
from .page import show_pair, twice

__all__ = ["bridge", "bridge_picture", "inverse_picture", "path_picture"]

_ON_OHM = 1e-4
_NO_LOAD_OHM = 1e7
_UPPER = (wiring.CONDUCTING, wiring.BLOCKING, wiring.BLOCKING, wiring.CONDUCTING)  # D1 to D4 while R is above C
_LOWER = (wiring.BLOCKING, wiring.CONDUCTING, wiring.CONDUCTING, wiring.BLOCKING)
_PLACES = {"R": (62, -144), "C": (62, -38), "1": (84, -144), "2": (152, -104), "3": (196, -205), "4": (196, 24)}


def bridge(
    volts_rms: float,
    *,
    drop_volts: float,
    load_ohm: float = _NO_LOAD_OHM,
    capacitor_farad: float = 0.0,
    hertz: float = 60.0,
) -> SteadyRectified:
    """Four diodes, a resistance of `load_ohm` (Ω; next to none unless given), a capacitor (F) or none, in the steady state.

    `volts_rms` (V) and `hertz` (Hz) are the secondary's. Errors: ValueError for a value that is not positive.

    >>> round(dc(bridge(24.0, drop_volts=0.8, load_ohm=100).load_volts), 2)
    20.03
    """
    parts = {"load_ohm": load_ohm, "capacitor_farad": capacitor_farad, "diode": Diode(drop_volts, _ON_OHM)}
    return rectify(Supply(volts_rms, hertz), kind="bridge", **parts).steady()


def bridge_picture(volts_rms: float, *, drop_volts: float, load_ohm: float) -> None:
    """Show the bridge: wiring, and two cycles of the secondary and of the load's voltage, mean and rms marked."""
    load = bridge(volts_rms, drop_volts=drop_volts, load_ohm=load_ohm).load_volts
    levels = [
        Level(dc(load), f"mean {amount(dc(load), 'V')}"),
        Level(true_rms(load), f"rms {amount(true_rms(load), 'V')}"),
    ]
    scope = scope_svg(
        [Trace(twice(straight(volts_rms)), "supply", "Secondary"), Trace(twice(load), "load", "Behind the bridge")],
        levels,
        title="Scope picture of a load behind four diodes, two cycles",
    )
    words = (
        f"Wiring picture: a transformer, {volts_rms:g} V; four diodes; a load of {load_ohm:g} Ω. "
        "While the upper end is positive, D1 and D4 conduct."
    )
    read = f"Read off: {', '.join(level.label for level in levels)}; two humps in each cycle."
    show_pair(_drawn(words, volts_rms, f"{load_ohm:g} Ω", _UPPER), scope, f"{words} {read}")


def path_picture(volts_rms: float, *, load_ohm: float) -> None:
    """Show the two current paths of a bridge side by side: the upper half cycle, and the lower one."""
    upper = "R above C: out of the upper end, through D1, down through the load, back through D4."
    lower = "R below C: out of the lower end, through D2, down through the load, back through D3."
    drawn = [
        _drawn(f"Wiring picture. {words}", volts_rms, f"{load_ohm:g} Ω", diodes)
        for words, diodes in ((upper, _UPPER), (lower, _LOWER))
    ]
    show_pair(*drawn, f"Two wiring pictures of one bridge. {upper} {lower} The load's current goes down both times.")


def inverse_picture(volts_rms: float, *, drop_volts: float, load_ohm: float) -> None:
    """Show what one diode of the bridge holds back, beside the wiring at the moment at which it holds back most."""
    solved = bridge(volts_rms, drop_volts=drop_volts, load_ohm=load_ohm)
    blocked = -float(solved.diode_volts.values.min())
    scope = scope_svg(
        [Trace(twice(solved.load_volts), "load", "Load"), Trace(twice(solved.diode_volts), "diode", "Across D1")],
        [Level(-blocked, f"blocks {amount(blocked, 'V')}")],
        title="Scope picture of one diode of a bridge, two cycles",
    )
    words = (
        f"Wiring picture: a transformer, {volts_rms:g} V; the lower end is positive, D2 and D3 conduct, "
        f"D1 and D4 block {amount(blocked, 'V')} each at the most."
    )
    show_pair(_drawn(words, volts_rms, f"{load_ohm:g} Ω", _LOWER), scope, words)


def _drawn(words: str, volts_rms: float, load: str, diodes: tuple[str, ...]) -> str:
    """The wiring picture with the bridge's terminals numbered, and R and C at the secondary."""
    values = {"line": "line", "supply": f"{volts_rms:g} V", "capacitor": "", "load": load}
    drawn = wiring.bridge(words, values, diodes=diodes, capacitor="", load=wiring.CONDUCTING).svg()
    names = "".join(
        f'<text x="{x}" y="{y}" font-size="15" text-anchor="middle">{name}</text>' for name, (x, y) in _PLACES.items()
    )
    return drawn.replace("</svg>", f"{names}</svg>")
