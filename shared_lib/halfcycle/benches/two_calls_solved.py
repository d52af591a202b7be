"""Two calls on one conductor at the bench's settings, solved: every number and wave that the bench shows."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from halfcycle import instruments as meters
from halfcycle.optotriac import Coil, Opto
from halfcycle.steering import steer
from halfcycle.supply import Supply
from halfcycle.waveforms import Waveform, waves
from halfcycle.wire import Wire

__all__ = ["CONDUCTS_AMPS", "METERS", "Moment", "Numbers", "Settings", "moment", "numbers"]

METERS = {"dc": 10e6, "ac": 10e6, "low": 3e3}
"""Input resistance of each meter, Ω: 10 MΩ of a common digital meter, 3 kΩ of one made to load (typical, from memory)."""

_SAMPLES = 1000
_CYCLES = 2
CONDUCTS_AMPS = 1e-4  # more than the leakage of a diode that blocks
_LAST_DIGIT = 5e-5


@dataclass(frozen=True)
class Settings:
    """Where the bench's controls stand, in plain units; `fault` is "" or one of `FAULTS`, `meter` one of `METERS`."""

    call_a: bool = True
    call_b: bool = False
    fault: str = ""
    led_resistor_ohm: float = 820.0
    wire_ohm: float = Wire(18, 100).one_way_ohm
    meter: str = "dc"
    moment_degrees: float = 90.0
    volt_amperes: float = 40.0  # 0 where no rating is stated
    volts_rms: float = 26.4
    resistance_ohm: float = 1.44
    led_drop_volts: float = 1.2
    trigger_amps: float = 0.005
    coil_ohm: float = 90.0
    coil_henry: float = 0.9


@dataclass(frozen=True)
class Numbers:
    """What the library finds at one setting; volts, amperes, watts; pairs are of A and B, waveforms over two cycles."""

    dc_volts: float
    ac_volts: float
    average_volts: float
    led_amps: tuple[float, float]
    led_peak_amps: tuple[float, float]
    on: tuple[bool, bool]
    coil_amps: tuple[float, float]
    coil_dc_amps: tuple[float, float]
    resistor_watts: tuple[float, float]
    drawn_va: float
    line: Waveform
    conductor: Waveform
    leds: tuple[Waveform, Waveform]
    coils: tuple[Waveform, Waveform]
    diodes: tuple[Waveform, Waveform]
    wire_amps: Waveform


def numbers(settings: Settings) -> Numbers:
    """Solve the circuit at these settings; which moment is shown makes no difference and costs nothing."""
    return _numbers(replace(settings, moment_degrees=0.0, meter="low" if settings.meter == "low" else "dc"))


@lru_cache(maxsize=128)
def _numbers(settings: Settings) -> Numbers:
    solved = steer(
        Supply(settings.volts_rms, resistance_ohm=settings.resistance_ohm),
        settings.call_a,
        settings.call_b,
        opto=Opto(led_drop_volts=settings.led_drop_volts, trigger_amps=settings.trigger_amps),
        led_resistor_ohm=settings.led_resistor_ohm,
        wire_ohm=settings.wire_ohm,
        meter_ohm=METERS[settings.meter],
        coil=Coil(settings.coil_ohm, settings.coil_henry),
        fault=settings.fault or None,
        samples_per_cycle=_SAMPLES,
    )
    line, conductor, drawn, *pairs = _probe(solved, settings)
    leds, coils, diodes = pairs[0:2], pairs[2:4], pairs[4:6]
    downwards = leds[1].with_values(-leds[1].values)
    line_twice, conductor_twice, *leds_twice = _twice(line, conductor, leds[0], downwards)
    return Numbers(
        dc_volts=_shown(meters.dc(conductor)),
        ac_volts=_shown(meters.ac_rms(conductor)),
        average_volts=_shown(meters.average_responding(conductor)),
        led_amps=tuple(_shown(meters.dc(led)) for led in leds),
        led_peak_amps=tuple(_shown(max(0.0, float(led.values.max()))) for led in leds),
        on=tuple(meters.true_rms(coil) >= solved.coil.pull_in_amps for coil in coils),
        coil_amps=tuple(_shown(meters.true_rms(coil)) for coil in coils),
        coil_dc_amps=tuple(_shown(meters.dc(coil)) for coil in coils),
        resistor_watts=tuple(meters.true_rms(led) ** 2 * settings.led_resistor_ohm for led in leds),
        drawn_va=meters.true_rms(line) * meters.true_rms(drawn),
        line=line_twice,
        conductor=conductor_twice,
        leds=tuple(leds_twice),
        coils=tuple(coils),
        diodes=tuple(diodes),
        wire_amps=pairs[6],
    )


def _probe(solved, settings: Settings) -> list[Waveform]:
    """One period of R to C, the conductor, the current drawn, both LEDs, both coils, both diodes and the wire."""
    wanted = [("node", "line"), ("volts", "meter"), ("amps", "secondary")]
    wanted += [("amps", name) for name in ("LED A", "LED B", "output A coil", "output B coil")]
    closed = {"diode A": settings.call_a, "diode B": settings.call_b, "wire": settings.call_a or settings.call_b}
    wanted += [("amps", name if there else "meter") for name, there in closed.items()]
    times = solved.run.times(solved.steps)
    rows = solved.run.quantities(wanted, times)
    rows[-3:][[not there for there in closed.values()]] = 0.0
    return waves(times - times[0], rows, "VV" + 8 * "A")


def _shown(value: float) -> float:
    """A meter's last digit: less than 0.05 mA, or 0.05 mV, is nothing."""
    return value if abs(value) >= _LAST_DIGIT else 0.0


def _twice(*one_period: Waveform) -> list[Waveform]:
    """Waves over one period shown as two, so that the eye sees them repeat."""
    first = one_period[0]
    seconds = np.concatenate([first.seconds + k * first.duration_s for k in range(_CYCLES)])
    return waves(seconds, [np.tile(wave.values, _CYCLES) for wave in one_period], [wave.unit for wave in one_period])


@dataclass(frozen=True)
class Moment:
    """What happens at the moment shown: which diodes, LEDs and coils carry current, and the voltages (V)."""

    diodes: tuple[bool, bool]
    leds: tuple[bool, bool]
    coils: tuple[bool, bool]
    wire_amps: float
    line_volts: float
    conductor_volts: float


def moment(settings: Settings) -> Moment:
    """Read the solved waveforms at the moment that the bench shows."""
    found, at = numbers(settings), round(settings.moment_degrees / 360 * _SAMPLES)

    def carry(waves) -> tuple[bool, bool]:
        return tuple(abs(float(wave.values[at])) > CONDUCTS_AMPS for wave in waves)

    return Moment(
        diodes=carry(found.diodes),
        leds=carry(found.leds),
        coils=carry(found.coils),
        wire_amps=float(found.wire_amps.values[at]),
        line_volts=_shown(float(found.line.values[at])),
        conductor_volts=_shown(float(found.conductor.values[at])),
    )
