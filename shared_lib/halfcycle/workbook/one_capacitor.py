"""The circuit of lesson 05, one diode with a capacitor and a relay board behind it: solved and drawn.

Pictures show themselves in a notebook, each with the same content in words. The source is the transformer's no-load
voltage behind its resistance; the diode is a drop and a resistance.
"""

import numpy as np

from .. import wiring
from ..amounts import amount
from ..instruments import dc
from ..network import Diode
from ..rectifier import Rectified, SteadyRectified, rectify
from ..scope import Level, Point, Span, Trace, scope_svg
from ..showing import quantity, show
from ..supply import Supply
from ..waveforms import Waveform
from .one_diode import block_picture

__all__ = ["Board", "block_picture", "fall_picture", "inrush_picture", "pulse_picture", "ripple_picture"]


class Board:
    """One diode, a capacitor (F; 0 for none) and a relay board of `load_ohm` behind a 60 Hz transformer.

    Parameters
    ----------
    volts_rms : secondary voltage with no load, V rms
    source_ohm : resistance of the transformer, Ω
    load_ohm : resistance of the board, Ω
    capacitor_farad : F

    >>> board = Board(26.4, 1.15, 750, 180e-6)
    >>> round(board.steady().ripple_volts, 2), round(board.inrush_amps(90), 1)
    (3.88, 30.5)
    """

    def __init__(self, volts_rms: float, source_ohm: float, load_ohm: float, capacitor_farad: float):
        self.supply = Supply(volts_rms, resistance_ohm=source_ohm)
        self.load_ohm, self.capacitor_farad = load_ohm, capacitor_farad

    @classmethod
    def of(cls, circuit) -> "Board":
        """The learner's own circuit of lesson 05."""
        return cls(circuit.volts_rms, circuit.source_ohm, circuit.load_ohm, circuit.capacitor_microfarad * 1e-6)

    def switched_on(self, *, degrees: float = 0.0, cycles: float = 1) -> Rectified:
        """The first cycles after switching on at `degrees`, the capacitor empty."""
        parts = {"load_ohm": self.load_ohm, "capacitor_farad": self.capacitor_farad, "diode": Diode(0.7, 0.05)}
        return rectify(self.supply, **parts, cycles=cycles, start_degrees=degrees)

    def steady(self) -> SteadyRectified:
        """One cycle once everything has settled; 0° is where the secondary rises through zero."""
        return self.switched_on().steady()

    def inrush_amps(self, degrees: float) -> float:
        """Highest current of the first half cycle after switching on at `degrees`, A."""
        return float(self.switched_on(degrees=degrees, cycles=0.5).diode_amps.values.max())

    def conduction(self) -> tuple[float, float]:
        """Angles at which the diode begins and ceases to conduct, degrees."""
        (span,) = [(begin, end) for begin, end, mode in self.steady().run.modes("D1") if mode == "on"]
        return tuple(360 * self.supply.hertz * instant for instant in span)

    def wiring(self, words: str, does: str, *, diode: str, supply: str = "") -> str:
        """The wiring picture, `words` its text alternative, `does` what stands under the diode, `supply` by the winding."""
        values = {
            "line": "line",
            "supply": supply or amount(self.supply.volts_rms, "V"),
            "diode": "diode",
            "diode_does": does,
            "capacitor": amount(self.capacitor_farad, "F") if self.capacitor_farad else "",
            "load": quantity(self.load_ohm, "Ω"),
        }
        live = wiring.CONDUCTING
        return wiring.half_wave(words, values, diode=diode, capacitor=live if self.capacitor_farad else "", load=live)

    def words(self) -> str:
        """The circuit in one sentence."""
        filter_ = f"a capacitor of {amount(self.capacitor_farad, 'F')}" if self.capacitor_farad else "no capacitor"
        return (
            f"Wiring picture: a transformer, {amount(self.supply.volts_rms, 'V')} without load; one diode in the line; "
            f"{filter_}; a relay board of {quantity(self.load_ohm, 'Ω')}."
        )


def ripple_picture(board: Board) -> None:
    """Show the board's wiring and two cycles of the secondary, the board's voltage and the diode's current."""
    steady = board.steady()
    load, amps = steady.load_volts, steady.diode_amps
    markers = [
        Level(dc(load), f"mean {amount(dc(load), 'V')}"),
        Span(load.values.min(), load.values.max(), f"ripple {amount(steady.ripple_volts, 'V')}"),
        Level(amps.values.max(), f"peak {amount(amps.values.max(), 'A')}", "A"),
    ]
    traces = [
        Trace(_twice(_terminals(steady, board)), "supply", "Secondary"),
        Trace(_twice(load), "load", "Board"),
        Trace(_twice(amps), "current", "Diode current"),
    ]
    does = "conducts in pulses" if board.capacitor_farad else "half of the time"
    _show_pair(board, does, traces, markers, "Scope picture of the relay board, two cycles")


def pulse_picture(board: Board) -> None:
    """Show one charging pulse close up, with the angles at which the diode begins and ceases to conduct."""
    steady, half = board.steady(), board.supply.period_s / 2
    load, amps = steady.load_volts, steady.diode_amps
    markers = [
        Point(degrees / 360 * board.supply.period_s, _at(load, degrees, board), f"{word} {degrees:.1f}°")
        for word, degrees in zip(("begins", "ends"), board.conduction(), strict=True)
    ]
    markers.append(Level(amps.values.max(), f"peak {amount(amps.values.max(), 'A')}", "A"))
    traces = [
        Trace(_terminals(steady, board).slice(0, half), "supply", "Secondary"),
        Trace(load.slice(0, half), "load", "Board"),
        Trace(amps.slice(0, half), "current", "Diode current"),
    ]
    _show_pair(board, "conducts in pulses", traces, markers, "Scope picture of one charging pulse, half a cycle")


def inrush_picture(board: Board) -> None:
    """Show the current into the empty capacitor when the power comes on at the crest, and when it comes on at zero."""
    cases = ((90, "current", "On at the crest"), (0, "other", "On at zero"))
    waves = [board.switched_on(degrees=degrees, cycles=0.5).diode_amps for degrees, _, _ in cases]
    traces = [Trace(wave, ink, label) for wave, (_, ink, label) in zip(waves, cases, strict=True)]
    peaks = [float(wave.values.max()) for wave in waves]
    markers = [Level(peak, amount(peak, "A"), "A") for peak in peaks]
    _show_pair(board, "takes the inrush", traces, markers, "Scope picture of the diode current after switching on")


def fall_picture(
    start_volts: float, end_volts: float, ohm: float, capacitor_farad: float, *, empties: str, power: str
) -> None:
    """Show a capacitor that falls from `start_volts` through `ohm`, one time constant and `end_volts` marked.

    `empties` names the resistance; `power` says in two words or three why the diode passes nothing.
    """
    tau = ohm * capacitor_farad
    fall = tau * np.log(start_volts / end_volts)
    seconds = np.linspace(0, max(4 * tau, 1.2 * fall), 801)
    wave = Waveform(seconds, start_volts * np.exp(-seconds / tau), "V")
    markers = [
        Point(tau, start_volts / np.e, f"R·C {amount(tau, 's')}"),
        Point(fall, end_volts, f"here {amount(fall, 's')}"),
    ]
    board = Board(start_volts / 2**0.5, 1.0, ohm, capacitor_farad)
    scope = scope_svg([Trace(wave, "load", "Capacitor")], markers, title="Scope picture of the capacitor emptying")
    words = (
        f"Wiring picture: {power}, the diode passes nothing; a capacitor of {amount(capacitor_farad, 'F')} feeds the "
        f"{empties}, {quantity(ohm, 'Ω')}. It falls from {amount(start_volts, 'V')} to {amount(end_volts, 'V')} in "
        f"{amount(fall, 's')}; one time constant is {amount(tau, 's')}."
    )
    _show(board.wiring(words, power, diode=wiring.BLOCKING, supply="0 V"), scope, words)


def _terminals(steady: SteadyRectified, board: Board) -> Waveform:
    """Voltage at the secondary's terminals, V: its resistance is inside."""
    inside = steady.waveform("volts", "secondary")
    return inside.with_values(inside.values - board.supply.resistance_ohm * steady.source_amps.values)


def _at(wave: Waveform, degrees: float, board: Board) -> float:
    return float(np.interp(degrees / 360 * board.supply.period_s, wave.seconds, wave.values))


def _twice(wave: Waveform) -> Waveform:
    seconds = np.concatenate([wave.seconds, wave.seconds + wave.duration_s])
    return Waveform(seconds, np.tile(wave.values, 2), wave.unit)


def _show_pair(board: Board, does: str, traces, markers, title: str) -> None:
    words = f"{board.words()} Read off: {', '.join(marker.label for marker in markers)}."
    drawn = board.wiring(board.words(), does, diode=wiring.CONDUCTING)
    _show(drawn, scope_svg(traces, markers, title=title), words)


def _show(drawn: str, scope: str, words: str) -> None:
    sides = "".join(f'<div style="flex:1 1 22em;min-width:0">{svg}</div>' for svg in (drawn, scope))
    show(words, f'<div style="display:flex;flex-wrap:wrap;gap:0.5em;max-width:72em">{sides}</div>')
