"""What lesson 06 shows: the store as it fills and empties, a bus in a cycle, a spike close, the dip before it, and tables.

The wiring pictures are those of the bench of spikes. `readings=False` leaves out whatever a learner is to read off.
"""

import numpy as np

from .. import wiring
from ..amounts import amount
from ..benches import spikes
from ..scope import Level, Point, Span, Trace, scope_svg
from ..waveforms import Waveform
from .page import show_pair, table
from .spiky_bus import VIEW_S, ChargingBus

__all__ = ["close_picture", "closing_picture", "cycle_picture", "samples_table", "spikes_table", "store_picture"]

_ROW_S = 0.5e-6
_SHOWN_SHARE = 0.3  # of the height: below it, the table of samples ends


def store_picture(
    farad: float, volts: float, *, charging_watts: float, hold_amps: float, lowest_volts: float
) -> tuple[float, float]:
    """Show a store of two supercapacitors (F and V of each) as it is charged at a steady power (W) and drained (A).

    Returns the seconds of the charge, and of the fall to `lowest_volts` (V).
    """
    series, full = farad / 2, 2 * volts
    charge_s = 0.5 * series * full**2 / charging_watts
    fall_s = series * (full - lowest_volts) / hold_amps
    rising = np.linspace(0, charge_s, 200)
    seconds = np.append(rising, charge_s + fall_s)
    values = np.append(np.sqrt(2 * charging_watts * rising / series), lowest_volts)
    scope = scope_svg(
        [Trace(Waveform(seconds, values, "V"), "load", "Whole store")],
        [
            Point(charge_s, full, f"full, {amount(charge_s, 's')}"),
            Level(lowest_volts, f"lowest, {amount(lowest_volts, 'V')}"),
        ],
        title="Voltage of a store while it is charged at a steady power, and while it then empties",
    )
    words = (
        f"Wiring picture: two supercapacitors of {farad:g} F and {volts:g} V in series; {full:g} V across both. "
        f"They fill in {amount(charge_s, 's')} and fall to {lowest_volts:g} V in {amount(fall_s / 60, '', 3)} min."
    )
    values = {"words": words, "one": f"{farad:g} F, {volts:g} V", "both": f"both: {full:g} V"}
    show_pair(wiring.filled(_store_drawing(), words, values), scope, words)
    return charge_s, fall_s


def cycle_picture(bus: ChargingBus, *, readings: bool = True) -> None:
    """Show the wiring as the switch opens, and one cycle of the bus as a scope records it, each spike marked or none."""
    tops = zip(bus.spikes.seconds, bus.spikes.heights, strict=True)
    points = [
        Point(s, float(np.interp(s, bus.rest.seconds, bus.rest.values)) + h, f"+{amount(h, 'V')}") for s, h in tops
    ]
    scope = scope_svg(
        [Trace(bus.rest, "supply", "At rest"), Trace(bus.captured, "load", "Bus")],
        points if readings else (),
        title="Scope picture of a bus while an actuator charges, one cycle",
    )
    instants = ", ".join(f"{1e3 * second:.2f}" for second in bus.spikes.seconds)
    said = f"Spikes at {instants} ms."
    if readings:
        said += f" Heights above the sine: {', '.join(amount(h, 'V') for h in bus.spikes.heights)}."
    _show(bus, "spike", scope, said)


def close_picture(bus: ChargingBus, *, readings: bool = True) -> None:
    """Show the wiring as the switch opens, and the highest spike close, with its height and width or without."""
    volts, amps = bus.close_up
    rest = _rest_near(bus)
    top = float(volts.values.max())
    half = bus.rest_volts + bus.height_volts / 2
    marks = [
        Span(bus.rest_volts, top, f"height {amount(bus.height_volts, 'V')}"),
        Level(half, f"half, {amount(half, 'V')}"),
        Level(bus.rest_volts, f"sine, {amount(bus.rest_volts, 'V')}"),
    ]
    scope = scope_svg(
        [Trace(rest, "supply", "At rest"), Trace(volts, "load", "Bus"), Trace(amps, "current", "Into actuator")],
        marks if readings else (),
        title="Scope picture of the highest spike, close; 0 µs is the opening of the switch",
    )
    said = (
        f"Height {amount(bus.height_volts, 'V')}, {amount(bus.width_s, 's')} wide at half height." if readings else ""
    )
    _show(bus, "spike", scope, said)


def closing_picture(bus: ChargingBus) -> None:
    """Show the wiring while the switch is closed, the bus as it dips, and the current as it rises."""
    span = bus.opening_s - 1.3 * bus.solved.actuator.pulse_s, bus.opening_s - 1e-8
    waves = [wave.slice(*span) for wave in (bus.rest, bus.bus, bus.amps)]
    rest, volts, amps = (Waveform(w.seconds - bus.opening_s, w.values, w.unit) for w in waves)
    dip, drawn = bus.before
    scope = scope_svg(
        [Trace(rest, "supply", "At rest"), Trace(volts, "load", "Bus"), Trace(amps, "current", "Into actuator")],
        [Span(bus.rest_volts - dip, bus.rest_volts, f"dip {amount(dip, 'V')}"), Level(drawn, amount(drawn, "A"), "A")],
        title="Scope picture of the bus while the switch is closed; 0 µs is its opening",
    )
    said = (
        f"Just before the switch opens the bus dips by {amount(dip, 'V')} and the actuator takes {amount(drawn, 'A')}."
    )
    _show(bus, "closed", scope, said)


def samples_table(bus: ChargingBus) -> None:
    """Show the scope's samples of the highest spike, every half microsecond, its top, and the sine at rest beside it."""
    volts, amps = bus.close_up
    top = int(volts.values.argmax())
    ends = volts.seconds[volts.values > bus.rest_volts + _SHOWN_SHARE * bus.height_volts][-1]
    times = np.arange(-_ROW_S, ends + _ROW_S, _ROW_S)
    times = np.insert(times, int(np.searchsorted(times, volts.seconds[top])), volts.seconds[top])
    rows = [
        (
            _two_places(1e6 * second) + (" (top)" if second == volts.seconds[top] else ""),
            *(_two_places(np.interp(second, w.seconds, w.values)) for w in (volts, _rest_near(bus), amps)),
        )
        for second in times
    ]
    heads = ("Time from the opening (µs)", "Bus (V)", "Sine at rest (V)", "Into the actuator (A)")
    table("The highest spike of the cycle, as the scope sampled it", heads, rows)


def spikes_table(bus: ChargingBus, threshold_volts: float) -> None:
    """Show when each spike of a cycle comes, and how long it stays more than a threshold above the sine."""
    times = bus.captured_seconds_above(threshold_volts)
    rows = [
        (str(number), f"{1e3 * second:.2f} ms", f"{1e6 * time:.1f} µs" if time else "never above it")
        for number, (second, time) in enumerate(zip(bus.spikes.seconds, times, strict=True), 1)
    ]
    heads = ("Spike", "At", f"Time above {threshold_volts:g} V over the sine")
    table("The spikes of one cycle, as the scope recorded them", heads, rows)


def _two_places(value: float) -> str:
    return f"{round(float(value), 2) + 0.0:.2f}".replace("-", "−")


def _rest_near(bus: ChargingBus) -> Waveform:
    seconds = np.linspace(*VIEW_S, 50)
    return Waveform(seconds, np.interp(seconds + bus.opening_s, bus.rest.seconds, bus.rest.values), "V")


def _show(bus: ChargingBus, moment: str, scope: str, said: str) -> None:
    supply, actuator = bus.solved.supply, bus.solved.actuator
    settings = spikes.Settings(
        bus_load_ohm=bus.solved.network.parts["bus load"][0].ohm,
        source=spikes.Winding(0.0, supply.volts_rms, supply.resistance_ohm, supply.leakage_henry),
        store_volts=bus.solved.store_volts,
        moment=moment,
        pulses_per_cycle=actuator.pulses_per_cycle,
        pulse_s=actuator.pulse_s,
        inductance_henry=actuator.inductance_henry,
    )
    picture = spikes.wiring_picture(settings)
    show_pair(picture.svg(), scope, f"{picture.words} {said}".rstrip())


def _store_drawing() -> str:
    """Two capacitors in series between plus and minus."""
    sketch, live = wiring.Sketch(), wiring.CONDUCTING
    for y in (0.0, 4.4):
        sketch.wire((0.0, y), (2.6, y), state=live)
        sketch.dot((0.0, y), live, open=True)
    sketch.part("Capacitor", (2.6, 4.4), (2.6, 2.2), state=live)
    sketch.part("Capacitor", (2.6, 2.2), (2.6, 0.0), state=live)
    sketch.dot((2.6, 2.2), live)
    sketch.words((3.3, 3.2), "@one@")
    sketch.words((3.3, 1.0), "@one@")
    sketch.words((-0.3, 2.2), "@both@")
    sketch.words((-0.2, 4.8), "+")
    sketch.words((-0.2, -0.6), "−")
    return sketch.svg()
