"""Two calls on one conductor, told apart by polarity: described here, solved by `network`.

At the thermostat each call closes through a diode onto the shared conductor, one passing the positive half
cycles, the other the negative ones. At the equipment two branches of opposite polarity, each with an
optoisolator, take them apart again.
"""

from dataclasses import dataclass

from .network import AnyDiode, Diode, Network
from .optotriac import Coil, Opto, Snubber, Switched, add_led, add_output
from .rectifier import add_supply
from .solved import Steady, probe
from .supply import Supply

FAULTS = (
    "diode A open", "diode A shorted", "diode A reversed", "diode B open", "diode B shorted", "diode B reversed",
    "diodes swapped", "LED A open", "LED B open", "common lost",
)  # fmt: skip
"""Faults that `steer` can put in: the diodes are those at the thermostat."""

_LOST_OHM = 1e9


@dataclass(frozen=True)
class Steered(Steady):
    """Both outputs of a steered conductor, solved over its steady state."""

    coil: Coil

    def output(self, call: str) -> Switched:
        """One of the two outputs, "A" or "B", as `switch_coil` would return it."""
        names = f"output {call}", f"LED {call}"
        return Switched(self.network, self.run, self.hertz, self.samples_per_cycle, self.coil, *names)

    shared_volts = probe("meter", "Voltage of the shared conductor to common at the equipment, on a meter, V.")
    led_a_amps = probe("LED A", "Current through LED A, A.")
    led_b_amps = probe("LED B", "Current through LED B, A.")

    @property
    def outputs(self) -> tuple[bool, bool]:
        """Whether relay A and relay B are pulled in."""
        return self.output("A").pulled_in, self.output("B").pulled_in


def steering_network(
    supply: Supply,
    call_a: bool,
    call_b: bool,
    *,
    opto: Opto | None = None,
    led_resistor_ohm: float = 820.0,
    wire_ohm: float = 1.0,
    meter_ohm: float = 10e6,
    coil: Coil | None = None,
    snubber: Snubber | None = None,
    diode: AnyDiode | None = None,
    fault: str | None = None,
) -> Network:
    """The circuit that `steer` solves; parts are named after the call, as in "LED A" and "output B coil".

    Errors: ValueError for an unknown `fault` or a part's value that is not positive.
    """
    if fault is not None and fault not in FAULTS:
        raise ValueError(f"unknown fault {fault!r}; known are {', '.join(FAULTS)}")
    opto, coil, diode = opto or Opto(), coil or Coil(), diode or Diode()
    net = Network()
    add_supply(net, supply, "line", "common")
    calls = [call for call, closed in (("A", call_a), ("B", call_b)) if closed]
    for call in calls:  # A passes current into the conductor, B out of it
        name, ends = f"diode {call}", (f"contact {call} out", "conductor")
        net.resistor(f"contact {call}", "line", ends[0], 0.1)
        ohm = {f"{name} open": _LOST_OHM, f"{name} shorted": 0.1}
        if fault in ohm:
            net.resistor(name, *ends, ohm[fault])
        else:
            turned = (call == "B") ^ (fault in (f"{name} reversed", "diodes swapped"))
            net.diode(name, *(reversed(ends) if turned else ends), diode)
    if calls:
        net.resistor("wire", "conductor", "shared", wire_ohm)
    net.resistor("meter", "shared", "common", meter_ohm)
    net.resistor("led common joint", "led common", "common", _LOST_OHM if fault == "common lost" else 0.01)
    for led, *ends in (("LED A", "shared", "led common"), ("LED B", "led common", "shared")):
        if fault == f"{led} open":
            net.resistor(led, *ends, _LOST_OHM)
        else:
            add_led(net, led, *ends, opto, led_resistor_ohm, diodes=1)
        add_output(net, led.replace("LED", "output"), led, opto, coil, snubber)
    return net


def steer(
    supply: Supply, call_a: bool, call_b: bool, *, cycles: int = 1, samples_per_cycle: int = 2000, **parts
) -> Steered:
    """Two calls over one conductor by polarity, in the periodic steady state.

    Parameters
    ----------
    supply : Supply
        The transformer that feeds thermostat and equipment.
    call_a, call_b : bool
        Which calls are closed at the thermostat.
    cycles, samples_per_cycle : int
        Length of the steady state in periods of the supply, and samples in each.
    **parts
        `opto`, `led_resistor_ohm`, `wire_ohm`, `meter_ohm`, `coil`, `snubber`, `diode`, `fault`
        as of `steering_network`; `fault` is one of `FAULTS`.

    Returns
    -------
    Steered
        With `shared_volts`, `led_a_amps`, `led_b_amps`, `outputs` and `output("A")`, `output("B")`.

    Raises
    ------
    ValueError
        Unknown fault, or a part's value that is not positive.

    Notes
    -----
    The circuit is common practice (no source): a diode at each contact, two branches of opposite polarity.

    >>> from halfcycle import Supply
    >>> steer(Supply(24.0), True, False).outputs
    (True, False)
    """
    net = steering_network(supply, call_a, call_b, **parts)
    run = net.steady(period_s=cycles / supply.hertz)
    return Steered(net, run, supply.hertz, samples_per_cycle, parts.get("coil") or Coil())
