"""What the bench of opto and triac shows, solved: the circuit is `halfcycle.optotriac`'s, in its periodic steady state."""

import contextlib
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf, isfinite

import numpy as np

from halfcycle import instruments as meters
from halfcycle.network import Network, Run, SettleError
from halfcycle.network.parts import Resistor
from halfcycle.optotriac import Coil, Opto, Snubber, switch_network
from halfcycle.supply import Supply
from halfcycle.waveforms import Waveform, waves

__all__ = ["FLOWS_AMPS", "SAMPLES", "Load", "Numbers", "Settings", "network", "numbers", "uncalled"]

FLOWS_AMPS = 1e-4  # more than the leakage of an output that is off
SAMPLES = 1000  # of a cycle
_HERTZ = 60.0
_SHORT_OHM = 0.1
_SETTLE_CYCLES = 14  # e⁻²³ of a coil's beginning is left where L/R is 10 ms


@dataclass(frozen=True, order=True)
class Load:
    """What the output switches: resistance (Ω), inductance (H), and the rms current (A) at which it answers.

    A relay or contactor pulls in; the electronic input of a control, of many kΩ, takes some volts for a call (values
    typical, from memory).
    """

    ohm: float
    henry: float
    answer_amps: float

    @property
    def is_input(self) -> bool:
        return self.ohm >= 5000

    @property
    def kind(self) -> str:
        return "input" if self.is_input else ("contactor" if self.ohm < 50 else "relay")


_RELAY = Load(90.0, 0.9, 0.045)


@dataclass(frozen=True)
class Settings:
    """Where the bench's controls stand; `fault` is "", "LED open" or "output shorted", `across_ohm` infinite for nothing.

    Latching and holding current are a small output's (typical, from memory).
    """

    led_resistor_ohm: float = 1500.0
    feed: str = "half"
    zero_cross: str = "none"
    load: Load = _RELAY
    snubber_farad: float = 0.0
    across_ohm: float = inf
    called: bool = True
    moment_degrees: float = 90.0
    fault: str = ""
    volts_rms: float = 26.4
    resistance_ohm: float = 1.44
    led_drop_volts: float = 1.2
    trigger_amps: float = 0.005
    latching_amps: float = 0.001
    holding_amps: float = 0.0005
    inhibit_volts: float = 10.0
    snubber_ohm: float = 100.0

    @property
    def lit(self) -> bool:
        """Whether the LED is fed at all."""
        return self.called and self.fault != "LED open"

    @property
    def opto(self) -> Opto:
        return Opto(
            led_drop_volts=self.led_drop_volts,
            trigger_amps=self.trigger_amps,
            latching_amps=self.latching_amps,
            holding_amps=self.holding_amps,
            inhibit_volts=None if self.zero_cross == "none" else self.inhibit_volts,
            sense="line" if self.zero_cross == "line" else "device",
        )


_UNFED = {
    "called": False,
    "led_resistor_ohm": Settings.led_resistor_ohm,
    "feed": Settings.feed,
    "zero_cross": Settings.zero_cross,
}


@dataclass(frozen=True)
class Numbers:
    """What the library finds at one setting: A, V, W, degrees; waveforms over two cycles."""

    led_peak_amps: float
    led_mean_amps: float
    led_degrees: float
    resistor_watts: float
    coil_rms_amps: float
    coil_dc_amps: float
    output_rms_volts: float
    load_rms_volts: float
    bleeder_watts: float
    answers: bool
    supply: Waveform
    load: Waveform
    led: Waveform
    coil: Waveform
    output_amps: Waveform


def network(settings: Settings) -> Network:
    """The circuit at these settings, with its fault if it has one."""
    whole = switch_network(
        Supply(settings.volts_rms, _HERTZ, settings.resistance_ohm),
        opto=settings.opto,
        led_resistor_ohm=settings.led_resistor_ohm,
        feed=settings.feed,
        coil=Coil(settings.load.ohm, settings.load.henry, settings.load.answer_amps),
        snubber=Snubber(settings.snubber_ohm, settings.snubber_farad) if settings.snubber_farad else None,
        load_parallel_ohm=settings.across_ohm if isfinite(settings.across_ohm) else 0.0,
        called=settings.lit,
    )
    return _shorted(whole) if settings.fault == "output shorted" else whole


def _shorted(whole: Network) -> Network:
    net = Network(ground=whole.ground)
    for name, (part, plus, minus) in whole.parts.items():
        net.add(name, plus, minus, Resistor(_SHORT_OHM) if name == "output" else part)
    return net


def numbers(settings: Settings) -> Numbers:
    """Solve the circuit at these settings; the moment shown, and what feeds a dark LED, make no difference."""
    dark = {} if settings.lit else {**_UNFED, "fault": settings.fault.replace("LED open", "")}
    return _numbers(replace(settings, moment_degrees=0.0, **dark))


def uncalled(settings: Settings) -> Numbers:
    """The same circuit while nobody calls."""
    return numbers(replace(settings, called=False))


_ASKED = (
    ("volts", "output coil"),
    ("volts", "output winding"),
    ("volts", "output"),
    ("node", "line"),
    ("amps", "LED"),
    ("amps", "output coil"),
    ("amps", "output"),
)


@lru_cache(maxsize=128)
def _numbers(settings: Settings) -> Numbers:
    run, seconds = _settled(settings)
    inner, winding, output, line, led, coil, through = run.quantities(list(_ASKED), seconds)
    volts = _records(seconds, {"load": inner + winding, "output": output, "line": line}, "V")
    amps = _records(seconds, {"led": led, "coil": coil, "output": through}, "A")
    load_volts, coil_amps = meters.true_rms(volts["load"]), meters.true_rms(amps["coil"])
    return Numbers(
        led_peak_amps=meters.peak(amps["led"]),
        led_mean_amps=meters.dc(amps["led"]),
        led_degrees=360 * float(np.mean(led[1:] > FLOWS_AMPS)),
        resistor_watts=settings.led_resistor_ohm * meters.true_rms(amps["led"]) ** 2,
        coil_rms_amps=coil_amps,
        coil_dc_amps=round(meters.dc(amps["coil"]), 6) + 0.0,
        output_rms_volts=meters.true_rms(volts["output"]),
        load_rms_volts=load_volts,
        bleeder_watts=load_volts**2 / settings.across_ohm,
        answers=coil_amps >= settings.load.answer_amps,
        supply=volts["line"],
        load=volts["load"],
        led=amps["led"],
        coil=amps["coil"],
        output_amps=amps["output"],
    )


def _settled(settings: Settings) -> tuple[Run, np.ndarray]:
    """A solution and the instants of its last cycle or two.

    A snubber behind a zero-cross window may make the output skip half cycles, in a pattern of two cycles, of many, or of
    none: there a run shows what a scope would show. Everywhere else the steady state of one cycle is quicker.
    """
    net = network(settings)
    if not (settings.snubber_farad and settings.zero_cross != "none" and settings.lit):
        with contextlib.suppress(SettleError):
            run = net.steady()
            return run, run.times(SAMPLES)
    run = net.run(_SETTLE_CYCLES / _HERTZ)
    return run, np.linspace(run.end - 2 / _HERTZ, run.end, 2 * SAMPLES + 1)


def _records(seconds: np.ndarray, rows: dict[str, np.ndarray], unit: str) -> dict[str, Waveform]:
    """Two cycles, so that the eye sees them repeat; one is shown twice."""
    times, cycles = seconds - seconds[0], (2 if seconds.size == SAMPLES + 1 else 1)
    times = np.concatenate([times + k * times[-1] for k in range(cycles)])
    twice = waves(times, [np.tile(row, cycles) for row in rows.values()], unit * len(rows))
    return dict(zip(rows, twice, strict=True))
