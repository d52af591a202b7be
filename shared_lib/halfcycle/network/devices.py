"""Devices of the usual kinds: diodes by a straight line or by many, contacts, pulsed sinks."""

from dataclasses import dataclass
from itertools import pairwise
from math import inf, log

from halfcycle.values import need, positive

from .parts import Condition, Device, Exit, Law

OFF_SIEMENS = 1e-9
"""Leakage of a device that is off: 1 GΩ, a few tens of nA at 24 V AC, as a small silicon part has."""


@dataclass(frozen=True)
class Diode:
    """A diode as a threshold and a slope: it conducts ``volts = drop_volts + on_ohm · amps``, else 1 GΩ.

    The two lines meet at the threshold (where 1 GΩ passes under a nanoampere), so that every circuit has one answer.

    Parameters
    ----------
    drop_volts : float
        Forward voltage at which it begins to conduct, V (not negative).
    on_ohm : float
        Slope once it conducts, Ω (positive).

    Errors: ValueError which names what is out of range. Source: the piecewise-linear diode of any textbook; 0.7 V and
    0.05 Ω are usual for a 1 A silicon part (typical, from memory).

    >>> Diode(0.7, 0.05).device().laws["on"].siemens
    20.0
    """

    drop_volts: float = 0.7
    on_ohm: float = 0.05

    def __post_init__(self) -> None:
        need(self, "of a diode", above_zero=("on_ohm",), from_zero=("drop_volts",))

    def device(self) -> Device:
        """The two modes, "off" and "on", with their exits."""
        slope, corner_amps = 1 / self.on_ohm, OFF_SIEMENS * self.drop_volts
        laws = {"off": Law(OFF_SIEMENS), "on": Law(slope, corner_amps - self.drop_volts * slope)}
        begins = Exit("on", (Condition("volts", +1, self.drop_volts),))
        ends = Exit("off", (Condition("amps", -1, corner_amps),))
        return Device(laws, {"off": (begins,), "on": (ends,)})


@dataclass(frozen=True)
class ExponentialDiode:
    """A diode by Shockley's law, ``amps = saturation_amps · (exp(volts / emission_volts) − 1)``.

    W. Shockley, Bell Syst. Tech. J. 28, 1949 (from memory); the defaults are a 1 A silicon part's (typical, from memory).

    It is followed by `pieces` chords between points spaced evenly in the logarithm of the current
    from `least_amps` to `most_amps`, so that the one exact solver serves it too.
    `emission_volts` (V) is the ideality factor times the thermal voltage (25.85 mV at 300 K); currents are in A.
    Errors: ValueError which names what is out of range.

    >>> round(ExponentialDiode(1e-9, 1.8 * 0.02585).points()[-1][0], 3)
    1.071
    """

    saturation_amps: float = 1e-9
    emission_volts: float = 1.8 * 0.02585
    least_amps: float = 1e-5
    most_amps: float = 10.0
    pieces: int = 24

    def __post_init__(self) -> None:
        need(self, "of a diode", above_zero=("saturation_amps", "emission_volts", "least_amps", "most_amps"))
        if self.pieces < 2 or self.most_amps <= self.least_amps:
            raise ValueError("an exponential diode needs two pieces or more, and most_amps above least_amps")

    def points(self) -> list[tuple[float, float]]:
        """The corners (volts, amps) of the chords, rising."""
        ratio = (self.most_amps / self.least_amps) ** (1 / (self.pieces - 1))
        amps = [self.least_amps * ratio**k for k in range(self.pieces)]
        return [(0.0, 0.0)] + [(self.emission_volts * log(i / self.saturation_amps + 1), i) for i in amps]

    def device(self) -> Device:
        """One mode a chord: "off" below zero volts, then "1", "2", …"""
        corners, laws = self.points(), {"off": Law(OFF_SIEMENS)}
        for k, ((v0, i0), (v1, i1)) in enumerate(pairwise(corners), start=1):
            slope = (i1 - i0) / (v1 - v0)
            laws[str(k)] = Law(slope, i0 - slope * v0)
        return Device(laws, _parted([*laws], [volts for volts, _ in corners[:-1]]))


def _parted(modes: list[str], corners: list[float]) -> dict[str, tuple[Exit, ...]]:
    """Exits between modes in the order of their volts, at the voltages which part each from the next."""
    exits = dict.fromkeys(modes, ())
    for (lower, upper), volts in zip(pairwise(modes), corners, strict=True):
        exits[lower] += (Exit(upper, (Condition("volts", +1, volts),)),)
        exits[upper] += (Exit(lower, (Condition("volts", -1, volts),)),)
    return exits


AnyDiode = Diode | ExponentialDiode
"""What a circuit takes for a diode."""


@dataclass(frozen=True)
class Switch:
    """A contact that closes and opens by a timetable: closed from each `closes` to the next `opens`, in s.

    Closed it has `on_ohm`, Ω, open 1 GΩ.

    >>> contact = Switch(closes=(1.0, 3.0), opens=(2.0,))
    >>> contact.timetable(1.5), contact.timetable(2.5)
    (('on', 2.0), ('off', 3.0))
    """

    closes: tuple[float, ...] = ()
    opens: tuple[float, ...] = ()
    on_ohm: float = 0.01

    def __post_init__(self) -> None:
        need(self, "of a switch", above_zero=("on_ohm",))

    def timetable(self, seconds: float) -> tuple[str, float]:
        """The mode at `seconds`, and the instant, s, at which it changes next."""
        last_closed = max((t for t in self.closes if t <= seconds), default=-inf)
        last_opened = max((t for t in self.opens if t <= seconds), default=-inf)
        change = min((t for t in (*self.closes, *self.opens) if t > seconds), default=inf)
        return ("on" if last_closed > last_opened else "off"), change

    def device(self) -> Device:
        """The two modes, "off" and "on"."""
        return Device({"off": Law(OFF_SIEMENS), "on": Law(1 / self.on_ohm)}, timetable=self.timetable)


@dataclass(frozen=True)
class CurrentPulses:
    """A current that is drawn in pulses: `amps` (A) for `width_s`, every `period_s`, first at `delay_s` (s).

    Below `compliance_volts` (V) it can no longer draw all of it, and below zero volts it draws nothing: a sink without
    that limit pulls a node behind an inductance to voltages that no circuit has. None gives that ideal sink.

    >>> pulses = CurrentPulses(amps=2.0, period_s=1e-3, width_s=1e-4)
    >>> pulses.timetable(5e-5), pulses.timetable(5e-4)
    (('on', 0.0001), ('off', 0.001))
    """

    amps: float = 1.0
    period_s: float = 1e-3
    width_s: float = 1e-4
    delay_s: float = 0.0
    compliance_volts: float | None = 1.0

    def __post_init__(self) -> None:
        need(self, "of current pulses", above_zero=("amps", "period_s", "width_s"))
        if self.width_s >= self.period_s:
            raise ValueError("a pulse must be shorter than its period")
        if self.compliance_volts is not None:
            positive("compliance_volts of current pulses", self.compliance_volts)

    def timetable(self, seconds: float) -> tuple[str, float]:
        """The mode at `seconds`, and its next edge, s; an edge that rounding blurs counts as passed."""
        phase = (seconds - self.delay_s) % self.period_s
        near = 1e-9 * self.period_s
        if phase > self.period_s - near:
            phase -= self.period_s
        on = phase < self.width_s - near
        return "on" if on else "off", seconds + ((self.width_s if on else self.period_s) - phase)

    def device(self) -> Device:
        """Beside "off" and "on" the modes in which the volts do not suffice."""
        laws, limit = {"off": Law(OFF_SIEMENS), "on": Law(OFF_SIEMENS, self.amps)}, self.compliance_volts
        if limit is None:
            return Device(laws, timetable=self.timetable)
        laws |= {"short of volts": Law(OFF_SIEMENS + self.amps / limit), "reversed": Law(OFF_SIEMENS)}
        return Device(laws, _parted(["reversed", "short of volts", "on"], [0.0, limit]), self.timetable)
