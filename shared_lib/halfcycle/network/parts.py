"""The parts a network is made of, each with its law; those with several modes stand in `devices`.

A part joins a plus node to a minus node; its current counts from plus through the part to minus.
A *device* (diode, switch, triac) has several modes. In each mode it obeys a straight line
``amps = siemens · volts + offset_amps``, and leaves it by an exit whose conditions are all true.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields

from halfcycle.values import need

_ABOVE_ZERO = ("ohm", "henry", "farad", "hertz")


class Part:
    """What every part has in common: values of which some must be above zero, the others finite."""

    def check(self, name: str) -> None:
        """Raise a ValueError that names the value which is out of range."""
        names = [each.name for each in fields(self)]
        need(self, f"of {name!r}", above_zero=[each for each in names if each in _ABOVE_ZERO], finite=names)


@dataclass(frozen=True)
class Resistor(Part):
    """A resistance in ohm."""

    ohm: float


@dataclass(frozen=True)
class Inductor(Part):
    """An inductance in henry."""

    henry: float
    initial_amps: float = 0.0


@dataclass(frozen=True)
class Capacitor(Part):
    """A capacitance in farad."""

    farad: float
    initial_volts: float = 0.0


@dataclass(frozen=True)
class VoltageSource(Part):
    """An ideal source: ``dc_volts + volts_peak · sin(2π·hertz·t + degrees)``, in V, Hz, degrees and s.

    >>> VoltageSource(volts_peak=34.0, hertz=0.0).check("secondary")
    Traceback (most recent call last):
    ValueError: hertz of 'secondary' must be a positive number, not 0.0
    """

    volts_peak: float = 0.0
    hertz: float = 60.0
    degrees: float = 0.0
    dc_volts: float = 0.0


@dataclass(frozen=True)
class CurrentSource(Part):
    """An ideal current, plus to minus through the source: ``dc_amps + amps_peak · sin(2π·hertz·t + degrees)``, in A."""

    dc_amps: float = 0.0
    amps_peak: float = 0.0
    hertz: float = 60.0
    degrees: float = 0.0


@dataclass(frozen=True)
class Law:
    """The straight line of one mode: ``amps = siemens · volts + offset_amps``."""

    siemens: float
    offset_amps: float = 0.0


@dataclass(frozen=True)
class Condition:
    """True while ``sign · (quantity of part − threshold) > 0``.

    `quantity` is "volts" or "amps"; `part` is a part's name, or None for the device itself.
    """

    quantity: str
    sign: int
    threshold: float
    part: str | None = None


@dataclass(frozen=True)
class Exit:
    """A way out of a mode: to mode `to`, at the first instant at which all `conditions` are true."""

    to: str
    conditions: tuple[Condition, ...]


@dataclass(frozen=True)
class Device:
    """A part with several modes, of which it begins in "off"; see the module's text.

    `laws` holds the straight line of each mode, `exits` the ways out of it; a ValueError says which way leads nowhere.
    A `timetable` tells the mode that it dictates at an instant, s, and the instant at which that changes next.

    >>> varistor = Device({"off": Law(1e-9), "on": Law(1.0, -47.0)}, {"off": (Exit("on", (Condition("volts", 1, 47),)),)})
    >>> varistor.check("varistor")
    """

    laws: Mapping[str, Law]
    exits: Mapping[str, tuple[Exit, ...]] = field(default_factory=dict)
    timetable: Callable[[float], tuple[str, float]] | None = None

    def check(self, name: str) -> None:
        for mode, exits in self.exits.items():
            if lost := [way.to for way in exits if way.to not in self.laws]:
                raise ValueError(f"{name!r} leaves mode {mode!r} for {lost[0]!r}, which has no law")
