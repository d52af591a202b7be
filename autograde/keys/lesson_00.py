"""Keys of lesson 00, before you open the panel: each worked out twice, by different roads.

Tables of sides stand on a list and on a walk along the panel's copper; tables of connections on what each point is joined
to, and on the solved current in the clip; the order of steps on pairs, and on the sequence of a published rule.
"""

from functools import lru_cache
from math import log, sqrt

from autograde.keys.emptying import seconds_to_fall
from autograde.marking import Key
from halfcycle import Diode, Supply, meters, rectify
from halfcycle.network import Network
from halfcycle.waveforms import Waveform
from halfcycle.workbook import sheets

__all__ = ["KEYS", "clip_amps", "fuse_multiples", "short_amps", "shorts", "start_volts"]

SAFE_VOLTS = 5.0
SIDES = "Two sides of one panel"
LINE_AMPS = "Few amperes, and still deadly"
ORDER = "Off, locked, proved dead"
CHARGED = "Where a capacitor starts"
BLEED = "How long it takes to bleed"
HEAT = "What the bleed resistor must stand"
CLIP = "The ground clip of a scope"
CLIP_AMPS = "How much current a clip can carry off"
SHORT = "R and C shorted"
FUSES = "Which fuse opens first"

ON_THE_LINE = {"contact", "disconnect", "fuse 1", "primary", "pump"}
COPPER = (
    ("line", "disconnect", "fuse 1", "primary"),
    ("disconnect", "pump", "contact", "line"),
    ("secondary", "fuse 2", "R and C", "thermostat", "coil", "R and C"),
    ("R and C", "actuator", "R and C", "end switch"),
)
"""Whatever wires join, in the panel of the lesson's picture. A coil and its contact, a primary and its secondary, are not joined."""

RIGHT_ORDER = {
    ("bleed", "reach"),
    ("find", "off"),
    ("off", "lock"),
    ("lock", "test"),
    ("prove", "test"),
    ("prove again", "reach"),
}
RULE = ("find", "off", "lock", "bleed", "prove", "test", "prove again", "reach")
"""Sequence of 29 CFR 1910.147(d), paragraphs 1 to 6 (seen); trying the tester before and after is common practice, no source."""


def start_volts(c):
    """Return the voltage at which the capacitor stands when the power goes, V: the crest, the diode's drop left out."""
    return sqrt(2) * c.volts_rms


def clip_amps(c, volts=None, ohm=None):
    """Return the rms current through a clip on the ungrounded side, A; voltage and resistance replaceable."""
    return (c.volts_rms if volts is None else volts) / (c.source_ohm + c.lead_ohm if ohm is None else ohm)


def short_amps(c, volts=None, ohm=None):
    """Return the rms current when R meets C at the end of the run, A; voltage and resistance replaceable."""
    return (c.volts_rms if volts is None else volts) / (c.source_ohm + 2 * c.wire_ohm if ohm is None else ohm)


def fuse_multiples(c, place=None, ratio=None):
    """Return how many times its rating F1, F2 and F3 carry; ``ratio`` is line amperes for each ampere of the 24 V side."""
    amps = short_amps(c)
    ratio = c.volts_rms / c.line_volts if ratio is None else ratio
    behind = (c.short_place if place is None else place) == 2
    return amps * ratio / c.line_fuse_amps, amps / c.panel_fuse_amps, behind * amps / c.zone_fuse_amps


def shorts(side, connection):
    """Return whether a clip on this connection shorts a secondary that is grounded at ``side`` ("R" or "C")."""
    joined = {"R": "R", "C": "C", "W calling": "R"}.get(connection, side)
    return int(joined != side)


def largest(values):
    """Return a table with 1 where the largest of the values stands."""
    return tuple(int(value == max(values)) for value in values)


def _farad(c):
    return c.capacitor_microfarad * 1e-6


def _clip_table(c):
    side = sheets.grounded(c.clip_sheet)
    return tuple(shorts(side, name) for name in sheets.connections(c.clip_sheet))


# The second roads.


@lru_cache(maxsize=1)
def _reached_from_the_line():
    """Walk along the copper from the line until nothing new is reached."""
    reached, before = {"line"}, set()
    while reached != before:
        before = set(reached)
        reached |= {name for run in COPPER if reached & set(run) for name in run}
    return frozenset(reached)


@lru_cache(maxsize=64)
def _solved_crest(volts_rms):
    """The voltage to which a diode without drop charges a capacitor with next to no load, V."""
    run = rectify(Supply(volts_rms, 60, 1.0), load_ohm=1e6, capacitor_farad=1e-4, diode=Diode(0.0, 0.05), cycles=0.01)
    return meters.peak(run.steady().load_volts)


@lru_cache(maxsize=256)
def _solved_seconds_at_one_kilohm(start, microfarad):
    return seconds_to_fall(start, SAFE_VOLTS, 1000.0, microfarad * 1e-6)


def _solved_bleed(c):
    return _solved_seconds_at_one_kilohm(start_volts(c), c.capacitor_microfarad) * c.bleed_ohm / 1000


def _solved_bleeder(c):
    return 1000 * c.wanted_seconds / _solved_seconds_at_one_kilohm(start_volts(c), c.capacitor_microfarad)


@lru_cache(maxsize=4096)
def _solved_watts(start, ohm, microfarad):
    """Volts times amperes in the resistor at the first instant, W."""
    net = Network()
    net.capacitor("capacitor", "plus", "common", microfarad * 1e-6, initial_volts=start)
    net.resistor("bleeder", "plus", "common", ohm)
    run = net.run(1e-3 * ohm * microfarad * 1e-6)
    return float(run.volts("bleeder", 0.0) * run.amps("bleeder", 0.0))


def _rms_amps(net, name):
    run = net.run(2 * net.period_s)
    seconds = run.times(800)
    return meters.true_rms(Waveform(seconds, run.amps(name, seconds), "A"))


def _secondary(c, ground):
    net = Network(ground=ground)
    net.voltage_source("secondary", "inside", "C", volts_peak=sqrt(2) * c.volts_rms)
    net.resistor("winding", "inside", "R", c.source_ohm)
    return net


@lru_cache(maxsize=4096)
def _clip_carries(c, side, connection):
    """Rms amperes in the clip, A: thermostat, coil, ground and scope described to the solver."""
    net = _secondary(c, "metal")
    net.resistor("thermostat", "R", "W", 1e-3 if connection == "W calling" else 1e7)
    net.resistor("coil", "W", "C", 80.0)
    net.resistor("grounding", side, "metal", 1e-4)
    point = {"W calling": "W", "W idle": "W", "metal": "bare", "battery": "RC".replace(side, "")}.get(
        connection, connection
    )
    if point == "bare":
        net.resistor("bare", "bare", "metal", 1e-3)
    net.resistor("clip", point, "metal", 1e7 if connection == "battery" else c.lead_ohm)
    return _rms_amps(net, "clip")


def _solved_clips(c):
    """1 where the clip carries more than the transformer's rated current."""
    side, limit = sheets.grounded(c.clip_sheet), c.volt_amperes / c.rated_volts
    return tuple(int(_clip_carries(c, side, name) > limit) for name in sheets.connections(c.clip_sheet))


def _solved_clip_amps(c):
    return _clip_carries(c, "C", "R")


@lru_cache(maxsize=4096)
def _solved_short(c):
    net = _secondary(c, "C")
    net.resistor("out", "R", "far", c.wire_ohm)
    net.resistor("back", "far", "C", c.wire_ohm)
    return _rms_amps(net, "out")


def _first_to_heat(c):
    """Heat (I²) in each fuse for one that opens at its rating's own; the line's amperes by the power that passes the transformer."""
    amps = _solved_short(c)
    line = amps * c.volts_rms / c.line_volts
    carried = {"F1": line, "F2": amps, "F3": amps if c.short_place == 2 else 0.0}
    rated = {"F1": c.line_fuse_amps, "F2": c.panel_fuse_amps, "F3": c.zone_fuse_amps}
    order = sorted(carried, key=lambda name: rated[name] ** 2 / (carried[name] ** 2 or 1e-12))
    return tuple(int(name == order[0]) for name in ("F1", "F2", "F3"))


KEYS = (
    Key(
        item="00-line-amps",
        unit="A",
        points=1,
        first=lambda c: c.volt_amperes / c.line_volts,
        second=lambda c: c.volt_amperes / c.rated_volts * (c.rated_volts / c.line_volts),
        first_road="rating divided by the line voltage",
        second_road="rated secondary current, carried over by the ratio of the voltages",
        section=LINE_AMPS,
    ),
    Key(
        item="00-sides",
        unit="table",
        points=2,
        first=lambda c: tuple(int(name in ON_THE_LINE) for name in sheets.parts(c.parts_sheet)),
        second=lambda c: tuple(int(name in _reached_from_the_line()) for name in sheets.parts(c.parts_sheet)),
        first_road="list of the parts that carry line voltage",
        second_road="walk along the copper from the line",
        section=SIDES,
    ),
    Key(
        item="00-order",
        unit="table",
        points=2,
        first=lambda c: tuple(int(pair in RIGHT_ORDER) for pair in sheets.pairs(c.order_sheet)),
        second=lambda c: tuple(int(RULE.index(a) < RULE.index(b)) for a, b in sheets.pairs(c.order_sheet)),
        first_road="pairs of steps, each with its reason",
        second_road="places in the sequence of 29 CFR 1910.147(d), the tester tried around the test",
        section=ORDER,
    ),
    Key(
        item="00-start-volts",
        unit="V",
        points=1,
        first=start_volts,
        second=lambda c: _solved_crest(c.volts_rms),
        first_road="√2 · no-load rms",
        second_road="exact solver: a diode without drop, 1 MΩ for a load",
        section=CHARGED,
    ),
    Key(
        item="00-bleed-time",
        unit="s",
        points=2,
        first=lambda c: c.bleed_ohm * _farad(c) * log(start_volts(c) / SAFE_VOLTS),
        second=_solved_bleed,
        first_road="R·C·ln(start/end)",
        second_road="exact solver: the crossing read off the curve with 1 kΩ, scaled to the resistor",
        section=BLEED,
    ),
    Key(
        item="00-bleeder",
        unit="Ω",
        points=2,
        first=lambda c: c.wanted_seconds / (_farad(c) * log(start_volts(c) / SAFE_VOLTS)),
        second=_solved_bleeder,
        first_road="t/(C·ln(start/end))",
        second_road="exact solver: the time with 1 kΩ, scaled to the wanted time",
        section=BLEED,
    ),
    Key(
        item="00-bleed-watts",
        unit="W",
        points=2,
        first=lambda c: start_volts(c) ** 2 / c.bleed_ohm,
        second=lambda c: _solved_watts(start_volts(c), c.bleed_ohm, c.capacitor_microfarad),
        first_road="V²/R",
        second_road="exact solver: volts times amperes at the first instant",
        section=HEAT,
    ),
    Key(
        item="00-clip",
        unit="table",
        points=2,
        first=_clip_table,
        second=_solved_clips,
        first_road="which terminal each connection is joined to, against the grounded one",
        second_road="exact solver: does the clip carry more than the rated current",
        section=CLIP,
    ),
    Key(
        item="00-clip-amps",
        unit="A",
        points=2,
        first=clip_amps,
        second=_solved_clip_amps,
        first_road="no-load voltage over winding and lead",
        second_road="exact solver with the coil in place, rms meter",
        section=CLIP_AMPS,
    ),
    Key(
        item="00-short-amps",
        unit="A",
        points=2,
        first=short_amps,
        second=_solved_short,
        first_road="no-load voltage over winding and both conductors",
        second_road="exact solver, rms meter",
        section=SHORT,
    ),
    Key(
        item="00-fuse",
        unit="table",
        points=2,
        first=lambda c: largest(fuse_multiples(c)),
        second=_first_to_heat,
        first_road="multiples of the ratings",
        second_road="solved current, power balance over the transformer, least I²t with equal I²t at the rating",
        section=FUSES,
    ),
)
