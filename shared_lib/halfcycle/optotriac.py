"""An optoisolator with a triac at its output, and a coil behind it: described here, solved by `network`."""

from dataclasses import dataclass
from functools import cached_property

from . import instruments as meters
from .network import Condition, Device, Diode, Exit, Law, Network
from .rectifier import add_bridge, add_supply
from .solved import Steady, probe
from .supply import Supply
from .values import need
from .waveforms import Waveform


@dataclass(frozen=True)
class Opto:
    """An optoisolator with triac output (terms of IEC 60747-5-5 and IEC 60747-6, values typical, from memory).

    Parameters
    ----------
    led_drop_volts, led_on_ohm : float
        The LED's threshold, V, and slope, Ω.
    trigger_amps : float
        LED current from which this sample's triac can be triggered, A (the data sheet guarantees a larger one).
    latching_amps, holding_amps : float
        Output current that must be reached while triggered, and below which it turns off, A; latching >= holding.
    drop_volts, on_ohm : float
        Threshold, V, and slope, Ω, of the conducting output.
    inhibit_volts : float or None
        Zero-cross inhibit voltage, V: above it the output does not turn on. None for a random-phase part.
    sense : "device" or "line"
        Where the zero-cross window looks: across its own output, or at the supply.

    Errors: ValueError which names what is out of range or contradicts another value.

    >>> Opto(inhibit_volts=10.0).latching_amps
    0.02
    """

    led_drop_volts: float = 1.2
    led_on_ohm: float = 4.0
    trigger_amps: float = 0.005
    latching_amps: float = 0.02
    holding_amps: float = 0.01
    drop_volts: float = 1.0
    on_ohm: float = 2.0
    inhibit_volts: float | None = None
    sense: str = "device"

    def __post_init__(self) -> None:
        parts = ("trigger_amps", "latching_amps", "holding_amps", "led_on_ohm", "on_ohm")
        need(self, "of an optoisolator", above_zero=parts, from_zero=("led_drop_volts", "drop_volts"))
        if self.latching_amps < self.holding_amps:
            raise ValueError("latching_amps of an optoisolator cannot be less than its holding_amps")
        if self.sense not in ("device", "line"):
            raise ValueError(f'sense of an optoisolator must be "device" or "line", not {self.sense!r}')
        if self.inhibit_volts is not None and self.inhibit_volts <= self.drop_volts:
            raise ValueError("inhibit_volts of an optoisolator must be above its drop_volts, or it never turns on")


@dataclass(frozen=True)
class Coil:
    """A relay or contactor coil: winding resistance, Ω, inductance, H, and the rms current that pulls it in, A.

    Errors: ValueError which names what is not positive. Values usual for a small 24 V relay (typical, from memory).

    >>> round(24 / abs(complex(Coil().ohm, 377 * Coil().henry)), 3)
    0.068
    """

    ohm: float = 90.0
    henry: float = 0.9
    pull_in_amps: float = 0.045

    def __post_init__(self) -> None:
        need(self, "of a coil", above_zero=("ohm", "henry", "pull_in_amps"))


@dataclass(frozen=True)
class Snubber:
    """A resistor, Ω, and a capacitor, F, in series across the output (values: common practice, no source).

    Errors: ValueError which names what is not positive.

    >>> round(1e3 * 24 * 377 * Snubber().farad, 2)  # milliamperes that it leaks at 24 V and 60 Hz
    0.9
    """

    ohm: float = 100.0
    farad: float = 0.1e-6

    def __post_init__(self) -> None:
        need(self, "of a snubber", above_zero=("ohm", "farad"))


def triac(opto: Opto, led: str, line: str) -> Device:
    """The output as a device: off, then conducting in either direction, not yet latched or held.

    `led` is the part whose current triggers it, `line` the part at which a line-sensing window looks.

    >>> sorted(triac(Opto(), "LED", "secondary").laws)
    ['forward', 'forward held', 'off', 'reverse', 'reverse held']
    """
    slope, leak_siemens = 1 / opto.on_ohm, 1e-7  # 10 MΩ, some µA at 24 V (typical, from memory)
    lit, dark = (Condition("amps", sign, opto.trigger_amps, led) for sign in (+1, -1))
    where = None if opto.sense == "device" else line
    sides = () if opto.inhibit_volts is None else (+1, -1)
    window = [Condition("volts", -side, side * opto.inhibit_volts, where) for side in sides]
    laws, exits = {"off": Law(leak_siemens)}, {"off": ()}
    for way, sign in (("forward", +1), ("reverse", -1)):
        held = f"{way} held"
        laws[way] = laws[held] = Law(slope, -sign * opto.drop_volts * slope)
        forced = Condition("volts", sign, sign * opto.drop_volts)
        latched = Condition("amps", sign, sign * opto.latching_amps)
        below_holding = Condition("amps", -sign, sign * opto.holding_amps)
        reversed_current = Exit("off", (Condition("amps", -sign, 0.0),))
        exits["off"] += (Exit(way, (lit, forced, *window)),)
        exits[way] = (Exit(held, (latched,)), Exit("off", (dark,)), reversed_current)
        exits[held] = (Exit("off", (dark, below_holding)), reversed_current)
    return Device(laws, exits)


def add_led(net: Network, name: str, plus: str, minus: str, opto: Opto, resistor_ohm: float, diodes: int = 0) -> None:
    """Put an LED with its resistor in series between two nodes. Parts: `name`, "`name` resistor".

    `diodes` more diodes (of the usual law) in series switch together with it, so that their drops are added to its own.
    """
    net.resistor(f"{name} resistor", plus, f"{name} anode", resistor_ohm)
    law = Diode(opto.led_drop_volts + diodes * Diode.drop_volts, opto.led_on_ohm + diodes * Diode.on_ohm)
    net.diode(name, f"{name} anode", minus, law)


def add_output(net: Network, name: str, led: str, opto: Opto, coil: Coil, snubber: Snubber | None) -> None:
    """Put a coil and its triac in series across the line. Parts: "`name` coil" (inductance), "`name` winding", `name`.

    `led` is the part that triggers it; a snubber lies across the triac.
    """
    winding, switched = f"{name} inside", f"{name} switched"
    net.inductor(f"{name} coil", "line", winding, coil.henry)
    net.resistor(f"{name} winding", winding, switched, coil.ohm)
    net.device(name, switched, "common", triac(opto, led, "secondary"))
    if snubber:
        net.resistor(f"{name} snubber", switched, f"{name} snubbed", snubber.ohm)
        net.capacitor(f"{name} snubber capacitor", f"{name} snubbed", "common", snubber.farad)


@dataclass(frozen=True)
class Switched(Steady):
    """A solved output: the run, and the waveforms a technician can probe."""

    coil: Coil
    output: str = "output"
    led: str = "LED"

    led_amps = probe("{led}", "Current through the LED, A.")
    coil_amps = probe("{output} coil", "Current through the coil, A.")
    output_volts = probe("{output}", "Voltage across the triac, V.")

    @cached_property
    def load_volts(self) -> Waveform:
        """Voltage across the coil as a meter at its terminals sees it, V."""
        inductance, winding = (self.waveform("volts", f"{self.output} {part}") for part in ("coil", "winding"))
        return inductance.with_values(inductance.values + winding.values)

    @property
    def coil_rms_amps(self) -> float:
        """Rms current of the coil over the run, A."""
        return meters.true_rms(self.coil_amps)

    @property
    def pulled_in(self) -> bool:
        """Whether the coil's rms current reaches its pull-in current."""
        return self.coil_rms_amps >= self.coil.pull_in_amps


def switch_network(
    supply: Supply,
    *,
    opto: Opto | None = None,
    led_resistor_ohm: float = 820.0,
    feed: str = "half",
    led_diodes: int = 1,
    coil: Coil | None = None,
    snubber: Snubber | None = None,
    load_parallel_ohm: float = 0.0,
    called: bool = True,
) -> Network:
    """The circuit that `switch_coil` solves, whose parameters these are. Parts: LED, output, output coil, secondary …

    Errors: ValueError for a feed that is none of those, or a part's value that is not positive.
    """
    if feed not in ("half", "full", "dc"):
        raise ValueError(f'feed of an LED must be "half", "full" or "dc", not {feed!r}')
    opto, net = opto or Opto(), Network()
    add_supply(net, supply, "line", "common")
    drive = {"dc_volts": 24.0} if feed == "dc" else {"volts_peak": supply.volts_peak, "hertz": supply.hertz}
    if called and feed == "full":
        net.voltage_source("control", "control", "other control", **drive)
        add_bridge(net, "control", "other control", "lit", "common", Diode())
        add_led(net, "LED", "lit", "common", opto, led_resistor_ohm)
    else:
        net.voltage_source("control", "control", "common", **(drive if called else {}))
        add_led(net, "LED", "control", "common", opto, led_resistor_ohm, led_diodes)
    add_output(net, "output", "LED", opto, coil or Coil(), snubber)
    if load_parallel_ohm:
        net.resistor("output across load", "line", "output switched", load_parallel_ohm)
    return net


def switch_coil(supply: Supply, *, cycles: int = 1, samples_per_cycle: int = 2000, **parts) -> Switched:
    """One call through an optoisolator to a coil, in its periodic steady state of `cycles` periods.

    Parameters
    ----------
    supply : Supply
        Feeds both sides here; the two sides share nothing but light.
    cycles, samples_per_cycle : int
        Length of the steady state in periods of the supply, and samples in each.
    opto, coil, snubber : Opto, Coil, Snubber
        The parts; no snubber unless given.
    led_resistor_ohm : float
        Resistor in series with the LED, Ω (820 unless given).
    feed : "half", "full" or "dc"
        What lights the LED: the supply through one diode, through a bridge, or 24 V dc from elsewhere.
    led_diodes : int
        Diodes in series with the LED (a half-wave feed has at least the one that blocks).
    load_parallel_ohm : float
        A bleeder or a meter's input resistance across the coil, Ω; 0 for none.
    called : bool
        Whether the thermostat calls; without a call the LED stays dark.

    Returns
    -------
    Switched
        With `led_amps`, `coil_amps`, `load_volts`, `output_volts`, `coil_rms_amps` and `pulled_in`.

    Raises
    ------
    ValueError
        Unknown `feed`, or a part's value that is not positive.

    Notes
    -----
    Terms of IEC 60747-5-5 and IEC 60747-6 (from memory); the law of the output is `triac`'s.

    >>> from halfcycle import Supply
    >>> switch_coil(Supply(24.0), led_resistor_ohm=1000.0).pulled_in
    True
    """
    net = switch_network(supply, **parts)
    run = net.steady(period_s=cycles / supply.hertz)
    return Switched(net, run, supply.hertz, samples_per_cycle, parts.get("coil") or Coil())
