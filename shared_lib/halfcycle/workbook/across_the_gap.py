"""The circuits of lesson 08: an LED that is lit by half waves, the triac output beyond the gap, and what leaks past it.

Each side has a stiff 24 V secondary of its own, in step with the other. Two diodes of 0.7 V and the LED are in series, as
in a four-conductor thermostat run. Pictures that go with them are in `gap_pictures`.
"""

import numpy as np

from ..network import Network
from ..optotriac import Coil, Opto, Switched, add_led, switch_coil, triac
from ..supply import Supply
from ..waveforms import Waveform

__all__ = [
    "PULL_IN_AMPS",
    "degrees_above",
    "led_amps",
    "load_amps",
    "phantom",
    "relay",
    "snubber_amps",
    "thermostat_amps",
]

_ON_OHM = 1e-3
_SNUBBER_OHM = 100.0
_OPEN_OHM = 1e9
_TOUCH_OHM = 1e-3
_SAMPLES = 4000
PULL_IN_AMPS = Coil().pull_in_amps

_JOINED_BY = {
    1: (),
    2: (("common", "other common"),),
    3: (("line", "other line"), ("common", "other common")),
    4: (("common", "other common"), ("line", "other line")),
    5: (("line", "other line"),),
    6: (("common", "earth"), ("other common", "earth")),
    7: (("common", "earth"), ("other common", "earth"), ("line", "other line")),
    8: (("line", "other line"), ("common", "other common")),
}


def led_amps(volts_rms: float, *, led_drop_volts: float, resistor_ohm: float, diodes: int = 2) -> Waveform:
    """Current of the LED behind `diodes` diodes and a resistor (Ω), A; one cycle from the rising zero of the secondary.

    >>> round(1000 * float(led_amps(28.0, led_drop_volts=1.2, resistor_ohm=1800).values.max()), 2)
    20.55
    """
    net = Network()
    net.voltage_source("secondary", "line", "common", volts_peak=Supply(volts_rms).volts_peak)
    opto = Opto(led_drop_volts=led_drop_volts, led_on_ohm=_ON_OHM)
    add_led(net, "LED", "line", "common", opto, resistor_ohm, diodes)
    run = net.steady()
    seconds = run.times(_SAMPLES)
    return Waveform(seconds - seconds[0], run.amps("LED", seconds), "A")


def degrees_above(wave: Waveform, value: float) -> tuple[float, float]:
    """Where a one-hump cycle rises through `value` (in its unit) and falls through it again, ° of the record.

    >>> [round(degrees) for degrees in degrees_above(Waveform.sine(volts_peak=34.0), 17.0)]
    [30, 150]
    """
    top = int(wave.values.argmax())
    degrees = 360 * wave.seconds / wave.seconds[-1]
    up = np.interp(value, wave.values[: top + 1], degrees[: top + 1])
    down = np.interp(-value, -wave.values[top:], degrees[top:])
    return float(up), float(down)


def relay(
    volts_rms: float,
    *,
    led_drop_volts: float,
    led_resistor_ohm: float,
    trigger_amps: float,
    inhibit_volts: float | None,
    latching_amps: float = 0.03,
    holding_amps: float = 0.01,
    coil: Coil | None = None,
) -> Switched:
    """The whole channel: half waves light the LED, the output switches a relay coil (90 Ω, 0.9 H, pulls in at 45 mA).

    >>> relay(28.0, led_drop_volts=1.2, led_resistor_ohm=1800, trigger_amps=0.006, inhibit_volts=16).pulled_in
    True
    """
    opto = Opto(
        led_drop_volts=led_drop_volts,
        trigger_amps=trigger_amps,
        latching_amps=latching_amps,
        holding_amps=holding_amps,
        inhibit_volts=inhibit_volts,
    )
    return switch_coil(Supply(volts_rms), opto=opto, led_resistor_ohm=led_resistor_ohm, led_diodes=2, coil=coil)


def load_amps(volts_rms: float, load_ohm: float, *, latching_amps: float, holding_amps: float) -> tuple[Waveform, bool]:
    """Current of a plain resistance behind an output that is triggered all the time, A; and whether the output latches.

    >>> wave, latched = load_amps(28.0, 1000, latching_amps=0.03, holding_amps=0.01)
    >>> round(1000 * float(wave.values.max()), 1), latched
    (38.6, True)
    """
    opto = Opto(latching_amps=latching_amps, holding_amps=holding_amps, on_ohm=_ON_OHM)
    net = Network()
    net.voltage_source("secondary", "line", "common", volts_peak=Supply(volts_rms).volts_peak)
    net.voltage_source("light", "lit", "common", dc_volts=24.0)
    add_led(net, "LED", "lit", "common", opto, 1000.0)
    net.resistor("load", "line", "switched", load_ohm)
    net.device("output", "switched", "common", triac(opto, "LED", "secondary"))
    run = net.steady()
    seconds = run.times(_SAMPLES)
    amps = Waveform(seconds - seconds[0], run.amps("load", seconds), "A")
    return amps, any(mode.endswith("held") for _, _, mode in run.modes("output"))


def phantom(volts_rms: float, *, snubber_farad: float, across_ohm: float, leak_ohm: float = 0.0) -> Waveform:
    """Voltage across `across_ohm` (Ω: an input, a meter, a bleeder) with the output dark, V, one cycle.

    `leak_ohm` is the dark triac's own leakage, side by side with its snubber; 0 for none.

    >>> from halfcycle import meters
    >>> round(meters.true_rms(phantom(28.0, snubber_farad=68e-9, across_ohm=27e3)), 1)
    15.9
    """
    net = _dark(volts_rms, snubber_farad, across_ohm)
    if leak_ohm:
        net.resistor("leakage", "switched", "common", leak_ohm)
    return _steady(net, "volts", "across")


def snubber_amps(volts_rms: float, *, snubber_farad: float) -> Waveform:
    """Current through the snubber of a dark output behind a load of next to no resistance, A, one cycle."""
    return _steady(_dark(volts_rms, snubber_farad, 1.0), "amps", "across")


def thermostat_amps(case: int, *, shorted: bool) -> Waveform:
    """Current in the thermostat side's LED loop, A, in a case of the lesson's list, with or without a short beyond the gap.

    >>> [round(1000 * float(thermostat_amps(case, shorted=True).values.max())) for case in (2, 4)]
    [22, 1]
    """
    net = Network()
    sides = (("", 1.0),) if case == 3 else (("", 1.0), ("other ", 1.0))
    for side, ohm in sides:
        net.voltage_source(f"{side}secondary", f"{side}inside", f"{side}common", volts_peak=34.0)
        net.resistor(f"{side}winding", f"{side}inside", f"{side}line", ohm)
    add_led(net, "LED", "line", "common", Opto(), 1500.0)
    net.resistor("load", "other line", "other common", 0.05 if shorted else 330.0)
    net.resistor("air", "common", "other common", _OPEN_OHM)
    net.resistor("dry ground", "common", "earth", _OPEN_OHM)
    for number, (one, other) in enumerate(_JOINED_BY[case]):
        net.resistor(f"joint {number}", one, other, _TOUCH_OHM)
    return _steady(net, "amps", "LED")


def _dark(volts_rms: float, snubber_farad: float, across_ohm: float) -> Network:
    net = Network()
    net.voltage_source("secondary", "line", "common", volts_peak=Supply(volts_rms).volts_peak)
    net.resistor("across", "line", "switched", across_ohm)
    net.resistor("snubber", "switched", "snubbed", _SNUBBER_OHM)
    net.capacitor("snubber capacitor", "snubbed", "common", snubber_farad)
    return net


def _steady(net: Network, quantity: str, part: str) -> Waveform:
    run = net.steady(period_s=1 / 60)
    seconds = run.times(_SAMPLES)
    return Waveform(seconds - seconds[0], run.quantities([(quantity, part)], seconds)[0], quantity[0].upper())
