"""`Network`, the circuit as one writes it down, and `Run`, its solution."""

from collections.abc import Iterable
from fractions import Fraction
from itertools import groupby
from math import gcd, lcm

import numpy as np

from halfcycle.values import positive

from .devices import Diode, ExponentialDiode
from .layout import Layout
from .parts import Capacitor, CurrentSource, Inductor, Resistor, VoltageSource
from .pieces import Piece
from .solve import Walker
from .steady import periodic

_MOST_SAMPLES = 50_000_000


class Network:
    """A circuit: named parts between named nodes.

    Parameters
    ----------
    ground : str
        The node at zero volts; "common" unless said otherwise.

    Errors are ValueError and name the part or the node: a name used twice, a value that is not positive,
    a node that nothing holds, a loop of ideal sources.

    >>> net = Network()
    >>> net.voltage_source("source", "top", "common", dc_volts=12.0)
    >>> net.resistor("upper", "top", "middle", 100.0)
    >>> net.resistor("lower", "middle", "common", 200.0)
    >>> round(float(net.steady().volts("lower", 0.0)), 6)
    8.0
    """

    def __init__(self, ground: str = "common"):
        self.ground = ground
        self.parts: dict[str, tuple] = {}
        self._walker: Walker | None = None

    def add(self, name: str, plus: str, minus: str, part) -> None:
        """Join `part` (from `network`) from node `plus` to node `minus` under `name`."""
        if name in self.parts:
            raise ValueError(f"two parts are called {name!r}")
        if plus == minus:
            raise ValueError(f"both ends of {name!r} are on node {plus!r}")
        if hasattr(part, "device"):
            part = part.device()
        part.check(name)
        self.parts[name] = (part, plus, minus)
        self._walker = None

    def resistor(self, name: str, plus: str, minus: str, ohm: float) -> None:
        """Ohm's law: `ohm`, Ω."""
        self.add(name, plus, minus, Resistor(ohm))

    def inductor(self, name: str, plus: str, minus: str, henry: float, initial_amps: float = 0.0) -> None:
        """`henry`, H, with the current it begins with, A."""
        self.add(name, plus, minus, Inductor(henry, initial_amps))

    def capacitor(self, name: str, plus: str, minus: str, farad: float, initial_volts: float = 0.0) -> None:
        """`farad`, F, with the voltage it begins with, V."""
        self.add(name, plus, minus, Capacitor(farad, initial_volts))

    def diode(self, name: str, anode: str, cathode: str, diode: Diode | ExponentialDiode) -> None:
        """A diode that conducts from anode to cathode."""
        self.add(name, anode, cathode, diode)

    def voltage_source(self, name: str, plus: str, minus: str, **drive: float) -> None:
        """Keywords as of `VoltageSource`: volts_peak, hertz, degrees, dc_volts."""
        self.add(name, plus, minus, VoltageSource(**drive))

    def current_source(self, name: str, plus: str, minus: str, **drive: float) -> None:
        """Keywords as of `CurrentSource`: dc_amps, amps_peak, hertz, degrees."""
        self.add(name, plus, minus, CurrentSource(**drive))

    def device(self, name: str, plus: str, minus: str, device) -> None:
        """Any part with modes: a `Switch`, `CurrentPulses`, a triac …"""
        self.add(name, plus, minus, device)

    def _solver(self) -> Walker:
        if self._walker is None:
            if not self.parts:
                raise ValueError("the network has no parts")
            self._walker = Walker(Layout(self.parts, self.ground))
        return self._walker

    @property
    def period_s(self) -> float:
        """Shortest time that holds whole cycles of every source, s: 0.1 for 50 and 60 Hz, 1/60 where nothing swings."""
        hertz = [Fraction(each).limit_denominator(10**6) for each in self._solver().layout.hertz or [60]]
        return lcm(*(each.denominator for each in hertz)) / gcd(*(each.numerator for each in hertz))

    def run(self, seconds: float, *, start_s: float = 0.0, state: np.ndarray | None = None) -> "Run":
        """Solve from `start_s` for `seconds`, from the parts' initial values or from `state`.

        `start_s` sets the phase at which the sources are met. Raises ValueError where the run is too long to keep;
        `sample` walks through runs of any length.
        """
        walker = self._solver()
        x0 = walker.layout.start if state is None else np.asarray(state, dtype=float)
        positive("length of a run in seconds", seconds)
        walker.layout.check_balance(start_s, x0)
        if seconds * max([60.0, *walker.layout.hertz]) > 200_000:
            raise ValueError(f"a run of {seconds:g} s would fill the memory; ask `sample` for the instants you need")
        return Run(list(walker.pieces(start_s, start_s + seconds, x0, walker.first_modes())), walker.last[0])

    def steady(self, *, period_s: float | None = None, start_s: float = 0.0) -> "Run":
        """One period of the periodic steady state, found by Newton's method on the state at `start_s`.

        Raises SettleError where there is none of that period (pass a multiple for a circuit that skips cycles), and
        ValueError where `period_s` does not hold whole cycles of every source.
        """
        walker = self._solver()
        period = positive("period in seconds", period_s) if period_s is not None else self.period_s
        for hertz in walker.layout.hertz:
            if abs(period * hertz - round(period * hertz)) > 1e-6:
                raise ValueError(f"a period of {period:g} s does not hold whole cycles of {hertz:g} Hz")
        return Run(*periodic(walker, start_s, period))

    def idle(self) -> "Run":
        """One period with every device left in its first mode: what the sources keep up while nothing switches."""
        walker = self._solver()
        pattern = walker.pattern(walker.first_modes())
        state = pattern.swing(0.0)
        piece = Piece(pattern, 0.0, walker.layout.given(0.0, state))
        piece.still, piece.end = True, self.period_s
        return Run([piece], state)

    def sample(self, times: np.ndarray, quantities: Iterable[tuple[str, str]], *, start_s: float = 0.0) -> np.ndarray:
        """Values of `quantities` ("volts" or "amps", part) at rising `times`, shape (quantities, times).

        Keeps nothing but the samples, so that ten thousand cycles need no more memory than is asked for.
        """
        times, wanted = np.asarray(times, dtype=float), tuple(quantities)
        if times.size * len(wanted) > _MOST_SAMPLES:
            raise ValueError(f"{times.size} samples of {len(wanted)} quantities would fill the memory; ask for fewer")
        if times.size == 0 or times[0] < start_s or (np.diff(times) < 0).any():
            raise ValueError("the instants to sample must rise, from the start of the run on")
        walker = self._solver()
        walker.layout.check_balance(start_s, walker.layout.start)
        out, done = np.empty((len(wanted), times.size)), 0
        end = max(times[-1], start_s + 1e-12)
        for piece in walker.pieces(start_s, end, walker.layout.start, walker.first_modes()):
            upto = np.searchsorted(times, piece.end, side="right")
            if upto > done:
                out[:, done:upto] = piece.values(wanted, times[done:upto])
            done = upto
        return out


class Run:
    """A solution: exact pieces, which can be asked for any quantity at any instant.

    It goes from the instant `begin` to `end`, s, where it reaches `end_state`; `parts` names what can be asked for.

    >>> net = Network()
    >>> net.voltage_source("battery", "plus", "common", dc_volts=10.0)
    >>> net.resistor("resistor", "plus", "top", 1000.0)
    >>> net.capacitor("capacitor", "top", "common", 1e-6)
    >>> round(float(net.run(5e-3).volts("capacitor", 1e-3)), 3)
    6.321
    """

    def __init__(self, pieces: list[Piece], end_state: np.ndarray):
        self.pieces, self.end_state = pieces, end_state
        self.begin, self.end = pieces[0].begin, pieces[-1].end
        self._layout = pieces[0].pattern.layout
        self.parts = list(self._layout.parts)

    def times(self, count: int) -> np.ndarray:
        """`count` equal steps from begin to end, both ends included: shape (count + 1,)."""
        if count < 1 or count > _MOST_SAMPLES:
            raise ValueError(f"a run can be cut into 1 to {_MOST_SAMPLES:,} steps, not {count}")
        return np.linspace(self.begin, self.end, count + 1)

    def volts(self, part: str, times: float | np.ndarray) -> np.ndarray:
        """Voltage across `part`, plus to minus, V, shape of `times`."""
        return self.quantities([("volts", part)], times)[0]

    def amps(self, part: str, times: float | np.ndarray) -> np.ndarray:
        """Current through `part`, plus to minus, A, shape of `times`."""
        return self.quantities([("amps", part)], times)[0]

    def node(self, name: str, times: float | np.ndarray) -> np.ndarray:
        """Voltage of a node to ground, V, shape of `times`."""
        return self.quantities([("node", name)], times)[0]

    def quantities(self, wanted: list[tuple[str, str]], times: float | np.ndarray) -> np.ndarray:
        """Several quantities ("volts" or "amps" of a part, "node" of a node) at once, shape (quantities, *times).

        Errors: ValueError for a part or node that is not there, or an instant outside of the run.
        """
        times, wanted = np.asarray(times, dtype=float), tuple(wanted)
        rising = times.ravel()
        if (rising[1:] < rising[:-1]).any():
            order = np.argsort(rising)
            out = self.quantities(wanted, rising[order])[:, np.argsort(order)]
            return out.reshape(len(wanted), *times.shape)
        slack = 1e-6 * (self.end - self.begin)
        if rising.size and not (self.begin - slack <= rising[0] and rising[-1] <= self.end + slack):
            raise ValueError(f"the run goes from {self.begin:g} s to {self.end:g} s; instants outside were asked for")
        out = np.empty((len(wanted), rising.size))
        edges = np.searchsorted(rising, [piece.end for piece in self.pieces[:-1]], side="right").tolist()
        driven = self._layout.driven(rising)
        for piece, first, last in zip(self.pieces, [0, *edges], [*edges, rising.size], strict=True):
            if last > first:
                out[:, first:last] = piece.values(wanted, rising[first:last], driven[:, first:last])
        return out.reshape(len(wanted), *times.shape)

    def modes(self, device: str) -> list[tuple[float, float, str]]:
        """When the device was in which mode: (begin, end, mode), neighbours in the same mode joined."""
        devices = self._layout.devices
        if device not in devices:
            raise ValueError(f"the network has no device {device!r}; it has {', '.join(map(repr, devices)) or 'none'}")
        k = devices.index(device)
        spans = [(mode, [*pieces]) for mode, pieces in groupby(self.pieces, lambda piece: piece.pattern.modes[k])]
        return [(float(pieces[0].begin), float(pieces[-1].end), mode) for mode, pieces in spans]
