"""The circuits of lesson 06: a bus on which a zone actuator charges, its spikes and dips measured, and the scope's captures.

All is solved by `spikes`; samples stand closest where a spike is. Pictures that go with them are in `spiky_pictures`.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from ..oscilloscope import Oscilloscope
from ..pulses import Pulses, pulses
from ..spikes import Actuator, SpikeBus, spike_bus
from ..supply import Supply
from ..waveforms import Waveform

__all__ = ["COUNTS_VOLTS", "ChargingBus", "blocks", "bus_of", "charging_bus"]

COUNTS_VOLTS = 15.0  # what stands less above the undisturbed wave is not counted in this lesson
VIEW_S = (-2e-6, 18e-6)  # of a close view, from the opening of the switch
_STEPS = 1500
_JUST = 1e-9
_NEAR = np.concatenate(
    [[-_JUST, _JUST], np.arange(-2, 2, 0.02) * 1e-6, np.arange(2, 30, 0.1) * 1e-6, np.geomspace(30e-6, 300e-6, 60)]
)
_AFTER_CLOSING = np.concatenate([[-_JUST, _JUST], np.arange(0.5, 40, 0.5) * 1e-6])
_VOLTS_SCOPE = {"bits": 12, "full_scale_volts": 400.0, "noise_volts_rms": 0.03, "offset_volts": 0.0}
_AMPS_SCOPE = {"bits": 12, "full_scale_volts": 20.0, "noise_volts_rms": 4e-4, "offset_volts": 0.0}  # a clamp, in A


@dataclass(frozen=True, eq=False)
class ChargingBus:
    """A bus in the steady state of one moment of the charge: `solved`, and whose values give the captures their noise.

    >>> bus = charging_bus(26.4, resistance_ohm=0.96, leakage_henry=0.2e-3, bus_load_ohm=30, pulses_per_cycle=14)
    >>> bus.spikes.count, round(bus.height_volts), round(bus.width_s * 1e6, 1)
    (6, 91, 4.8)
    """

    solved: SpikeBus
    name: str

    @cached_property
    def openings(self) -> tuple[float, ...]:
        """The instants in a cycle at which the actuator's switch opens, s."""
        return tuple(end for _, end, mode in self.solved.run.modes("switch") if mode == "on")

    @cached_property
    def seconds(self) -> np.ndarray:
        """The instants of all waves, s: even steps, and close ones about each opening."""
        run = self.solved.run
        closings = [begin for begin, _, mode in run.modes("switch") if mode == "on"]
        near = [np.add.outer(self.openings, _NEAR).ravel(), np.add.outer(closings, _AFTER_CLOSING).ravel()]
        every = np.concatenate([run.times(_STEPS), *near])
        return np.unique(every[(every >= run.begin) & (every <= run.end)])

    @cached_property
    def _waves(self) -> tuple[Waveform, Waveform]:
        volts, amps = self.solved.run.quantities([("volts", "bus load"), ("amps", "feed")], self.seconds)
        return Waveform(self.seconds, volts, "V"), Waveform(self.seconds, amps, "A")

    @property
    def bus(self) -> Waveform:
        """Voltage of the bus over one cycle, V."""
        return self._waves[0]

    @property
    def amps(self) -> Waveform:
        """Current into the actuator over one cycle, A."""
        return self._waves[1]

    @cached_property
    def rest(self) -> Waveform:
        """Voltage of the same bus with the actuator at rest, V: the undisturbed sine."""
        known = self.solved.undisturbed_volts
        return Waveform(self.seconds, np.interp(self.seconds, known.seconds, known.values), "V")

    @cached_property
    def spikes(self) -> Pulses:
        """The spikes of one cycle that stand more than `COUNTS_VOLTS` above the undisturbed sine."""
        return pulses(self.bus, self.rest, threshold_volts=COUNTS_VOLTS).spikes

    @property
    def height_volts(self) -> float:
        """Height of the highest spike above the undisturbed sine at the same instant, V."""
        return float(self.spikes.heights.max())

    @property
    def width_s(self) -> float:
        """Width of the highest spike between its two 50 % instants (IEEE 181), s."""
        return float(self.spikes.widths[self.spikes.heights.argmax()])

    @cached_property
    def opening_s(self) -> float:
        """The opening of the switch that makes the highest spike, s."""
        top = self.spikes.seconds[self.spikes.heights.argmax()]
        return max(opening for opening in self.openings if opening <= top)

    @cached_property
    def before(self) -> tuple[float, float]:
        """Just before that opening: how far the bus dips below the undisturbed sine, V, and the actuator's current, A."""
        at = self.opening_s - _JUST
        return self._read(self.rest, at) - self._read(self.bus, at), self._read(self.amps, at)

    @property
    def rest_volts(self) -> float:
        """The undisturbed sine at that opening, V."""
        return self._read(self.rest, self.opening_s)

    def _read(self, wave: Waveform, second: float) -> float:
        return float(np.interp(second, wave.seconds, wave.values))

    @cached_property
    def mean_watts(self) -> float:
        """Mean power into the store over a whole charge from empty, W (of two times 2.5 V, unless the actuator says else)."""
        return self.solved.actuator.energy_joules / self.solved.charge_seconds()

    def seconds_above(self, threshold_volts: float) -> tuple[float, ...]:
        """How long each spike stands more than `threshold_volts` above the undisturbed sine, s; 0 where it never does."""
        return tuple(
            _seconds_above(self.bus.slice(*span), self.rest.slice(*span), threshold_volts) for span in self._spans()
        )

    def _spans(self) -> list[tuple[float, float]]:
        return [(second - 1.5e-6, second + 60e-6) for second in self.spikes.seconds]

    @cached_property
    def captured(self) -> Waveform:
        """One cycle of the bus as a scope records it, V."""
        scope = Oscilloscope(sample_hertz=5e6, trigger_volts=None, pre_trigger_s=0.0, **_VOLTS_SCOPE)
        return scope.capture(self.bus, f"{self.name} cycle")

    @cached_property
    def close_up(self) -> tuple[Waveform, Waveform]:
        """The highest spike close: bus, V, and the actuator's current, A, as a scope records them; 0 s is the opening."""
        span = tuple(self.opening_s + second for second in VIEW_S)
        return _recorded(self.bus, span, _VOLTS_SCOPE, self.name), _recorded(self.amps, span, _AMPS_SCOPE, self.name)

    def captured_seconds_above(self, threshold_volts: float) -> tuple[float, ...]:
        """As `seconds_above`, measured in the scope's own records of the spikes."""
        records = [_recorded(self.bus, span, _VOLTS_SCOPE, f"{self.name} {span[0]:.6f}") for span in self._spans()]
        starts = [span[0] - VIEW_S[0] for span in self._spans()]
        return tuple(
            _seconds_above(record, self._rest_under(record, start), threshold_volts)
            for record, start in zip(records, starts, strict=True)
        )

    def _rest_under(self, record: Waveform, start_s: float) -> Waveform:
        return record.with_values(np.interp(record.seconds + start_s, self.rest.seconds, self.rest.values))


def _recorded(wave: Waveform, span: tuple[float, float], settings: dict, name: str) -> Waveform:
    """A scope's record of a part of a wave; its time begins where a close view begins."""
    scope = Oscilloscope(sample_hertz=20e6, trigger_volts=None, pre_trigger_s=0.0, **settings)
    record = scope.capture(wave.slice(*span), f"{name} close {wave.unit}", repeats=False)
    return Waveform(record.seconds - record.seconds[0] + VIEW_S[0], record.values, wave.unit)


def _seconds_above(wave: Waveform, rest: Waveform, threshold_volts: float) -> float:
    """Seconds in which a wave stands more than a threshold above another, joined by straight lines."""
    over = wave.values - np.interp(wave.seconds, rest.seconds, rest.values) - threshold_volts
    above, size = np.maximum(over, 0), abs(over)
    shares = (above[:-1] + above[1:]) / np.maximum(size[:-1] + size[1:], 1e-12)
    return float(np.sum(shares * np.diff(wave.seconds)))


@lru_cache(maxsize=128)
def charging_bus(
    volts_rms: float,
    *,
    resistance_ohm: float,
    leakage_henry: float,
    bus_load_ohm: float,
    pulses_per_cycle: int,
    pulse_s: float = 150e-6,
    inductance_henry: float = 1.2e-3,
    store_volts: float = 4.0,
) -> ChargingBus:
    """The bus of a transformer (V without load, Ω, H) with other loads (Ω) and an actuator that charges its store (V).

    `pulse_s`, `inductance_henry` and `pulses_per_cycle` are the actuator's switch and choke. Errors: ValueError where a
    part's value is out of range.
    """
    supply = Supply(volts_rms, resistance_ohm=resistance_ohm, leakage_henry=leakage_henry)
    actuator = Actuator(pulses_per_cycle=pulses_per_cycle, pulse_s=pulse_s, inductance_henry=inductance_henry)
    solved = spike_bus(supply, actuator, bus_load_ohm=bus_load_ohm, store_volts=store_volts)
    return ChargingBus(solved, f"{volts_rms} {resistance_ohm} {leakage_henry} {bus_load_ohm} {pulses_per_cycle}")


def bus_of(circuit) -> ChargingBus:
    """The bus of a learner's own circuit."""
    names = ("resistance_ohm", "leakage_henry", "bus_load_ohm", "pulses_per_cycle")
    names += ("pulse_s", "inductance_henry", "store_volts")
    return charging_bus(circuit.volts_rms, **{name: getattr(circuit, name) for name in names})


def blocks(height_volts: float, width_s: float, hertz: float) -> Waveform:
    """One period of square pulses of a height (V) and width (s), so many a second (Hz), with nothing between them, V.

    >>> blocks(90.0, 5e-6, 200.0).values.tolist()
    [90.0, 90.0, 0.0, 0.0]
    """
    return Waveform([0.0, width_s, width_s, 1 / hertz], [height_volts, height_volts, 0.0, 0.0], "V")
