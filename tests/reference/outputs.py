"""Optoisolated outputs with their coils, one call and two, to compare on; shared by the reference tests and the benchmark."""

from dataclasses import dataclass, field

from halfcycle import Supply
from halfcycle.network import Network
from halfcycle.optotriac import Opto, Snubber, switch_network
from halfcycle.steering import steering_network

__all__ = ["OUTPUTS", "Output"]

_BY_OHM = 1e5
"""Across output and bridge: what 10 MΩ make of an interrupted coil current, 100 kV for 0.1 µs, stops ngspice."""
_SUPPLY = Supply(24.0, resistance_ohm=1.2)


@dataclass(frozen=True)
class Output:
    """One call to a coil (`feed` says what lights it), or two calls on one conductor."""

    name: str
    calls: tuple[bool, bool] | None = None
    feed: str = "half"
    opto: Opto | None = None
    led_resistor_ohm: float = 820.0
    snubber: Snubber | None = None
    settled_cycles: int = 8
    step_s: float = 5e-6
    options: str = "method=gear reltol=1e-4 abstol=1e-8 vntol=1e-5"
    farad: float = field(default=0.0, init=False)

    def network(self) -> Network:
        parts = {"opto": self.opto, "led_resistor_ohm": self.led_resistor_ohm, "snubber": self.snubber}
        if self.calls is None:
            net = switch_network(_SUPPLY, feed=self.feed, **parts)
        else:
            net = steering_network(_SUPPLY, *self.calls, **parts)
        for name in [*self._names, *(n for n in net.parts if n in ("D1", "D2", "D3", "D4"))]:
            net.resistor(f"by {name}", *net.parts[name][1:], _BY_OHM)
        return net

    @property
    def _names(self) -> list[str]:
        return ["output"] if self.calls is None else ["output A", "output B"]

    @property
    def wanted(self) -> list[tuple[str, str]]:
        led = "LED" if self.calls is None else "LED A" if self.calls[0] else "LED B"
        last = ("volts", "meter") if self.calls else ("volts", "output") if self.snubber else ("amps", "secondary")
        return [("amps", f"{self._names[0]} coil"), ("amps", led), last]

    def __str__(self) -> str:
        return self.name


OUTPUTS = (
    Output("one call, half-wave light"),
    Output("one call, steady light", feed="dc", led_resistor_ohm=1000.0),
    Output("one call, full-wave light", feed="full"),
    Output("one call, window of 10 V", feed="dc", led_resistor_ohm=1000.0, opto=Opto(inhibit_volts=10.0)),
    Output(
        "one call, window at the line", feed="dc", led_resistor_ohm=1000.0, opto=Opto(inhibit_volts=10.0, sense="line")
    ),
    Output(
        "one call, released at 20 mA into a snubber",
        opto=Opto(latching_amps=0.03, holding_amps=0.02),
        led_resistor_ohm=1500.0,
        snubber=Snubber(),
        step_s=2e-6,
    ),
    Output("two calls, A alone", calls=(True, False)),
    Output("two calls, both", calls=(True, True)),
)
