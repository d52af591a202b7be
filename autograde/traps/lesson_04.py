"""Traps of lesson 04, four diodes and a shared common. The same cause has the same name in every item and lesson."""

import math

from autograde.keys.lesson_04 import (
    BLOCKS,
    BOTH_WAYS,
    FAULT,
    FREQUENCY,
    MEAN,
    SAFE_CARDS,
    SHORT,
    WIRINGS,
    ac_volts,
    cards,
    fault_amps,
    fault_rms_amps,
    loop_ohm,
    mean_volts,
    no_load_peak,
    path_table,
    peak_volts,
    rms_volts,
)
from autograde.marking import Trap

__all__ = ["TRAPS"]

_RATED_VOLTS = 24
_SEPARATE = {3, 4}  # cards with two transformers
_NO_JOINING_WIRE = {1, 5}


def _drop_forgotten(value, section):
    hint = "The diodes keep a part of the voltage while they conduct; take their drops off."
    return Trap("drop-forgotten", value, hint, section)


def _one_drop(value, section):
    hint = (
        "Too little was taken off for the diodes. The current passes two of them, and one pair or the other keeps "
        "its two drops all the time."
    )
    return Trap("one-drop-for-two", value, hint, section)


def _two_drops(value, hint, section):
    return Trap("two-drops", value, hint, section)


def _half_wave(value, section):
    hint = "Those are the factors of a half wave. A bridge uses both halves of each cycle."
    return Trap("half-wave-on-full-wave", value, hint, section)


def _rms_for_peak(value, section):
    hint = "The transformer's voltage is given as rms. The formula wants the peak, which is higher."
    return Trap("rms-for-peak", value, hint, section)


def _ac_believed(value, section):
    hint = "That is the ac voltage of the secondary itself, in front of the diodes. Behind them the wave is another."
    return Trap("ac-meter-believed", value, hint, section)


def _rms_for_mean(value, section):
    hint = "That is worked with the true rms, which tells the heating. A dc meter and a diode's mean current go by the mean."
    return Trap("rms-for-mean", value, hint, section)


def _mean_for_rms(value, section):
    hint = "That is worked with the mean. Heating goes by the true rms, in which the high parts of the wave count more."
    return Trap("mean-for-rms", value, hint, section)


def _peak_for_mean(value, section):
    hint = "The peak is there for an instant only. The question asks for the mean."
    return Trap("peak-for-mean", value, hint, section)


def _wire_forgotten(value, section):
    hint = "Only the winding was counted. The conductors of the loop limit the current too."
    return Trap("wire-forgotten", value, hint, section)


def _winding_forgotten(value, section):
    hint = "Only the conductors were counted. The transformer's own resistance limits the current too."
    return Trap("winding-forgotten", value, hint, section)


def _rated_for_no_load(value, section):
    hint = "That starts from the rated voltage. The winding's resistance is counted by itself, so start from the no-load voltage."
    return Trap("rated-for-no-load", value, hint, section)


def _rated_current(value, section):
    hint = "That is the current the nameplate allows for loads. A short takes whatever the resistances let through."
    return Trap("rated-current-for-fault", value, hint, section)


def _load_limits(value, section):
    hint = "The actuator's load was taken to limit the current. The short goes past the load, not through it."
    return Trap("load-limits-the-short", value, hint, section)


def _joined(c):
    """Diodes by number: the one that carries the short, the one the new wire bridges, the opposite rail's, the load's pair."""
    plus, r = c.joined_terminal == 3, c.r_terminal
    low, high = ({r + 2}, {r}) if not plus else ({r}, {r + 2})
    other = 3 - r
    bridged = {other} if plus else {other + 2}
    pair = {r, other + 2} if plus else {other, r + 2}
    return {"short": low, "opposite": high, "bridged": bridged, "pair": pair, "above": plus}


def _path(which, *, same_half=True):
    def value(c):
        found = _joined(c)
        return path_table(found[which], above=found["above"] is same_half)

    return value


def _both_halves(c):
    return (*path_table(_joined(c)["short"], above=True)[:4], 1, 1)


def _believing(*, safe=(), unsafe=()):
    """The table of one who takes the cards in `safe` as safe and those in `unsafe` as not, and the rest as they are."""
    return lambda c: tuple(int(card in safe or (card in SAFE_CARDS and card not in unsafe)) for card in cards(c))


_ONE_TRANSFORMER = set(range(1, 9)) - _SEPARATE

TRAPS = {
    "04-load-peak": (
        _drop_forgotten(peak_volts, BOTH_WAYS),
        _one_drop(lambda c: peak_volts(c) - c.drop_volts, BOTH_WAYS),
        _rms_for_peak(lambda c: c.running_volts - 2 * c.drop_volts, BOTH_WAYS),
        _ac_believed(lambda c: c.running_volts, BOTH_WAYS),
        Trap(
            "four-drops",
            lambda c: peak_volts(c) - 4 * c.drop_volts,
            "All the diodes' drops were taken off. Only one pair conducts at a time.",
            BOTH_WAYS,
        ),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: 2 * (peak_volts(c) - c.drop_volts),
            "That begins with the peak-to-peak voltage. The two halves follow each other; they do not add.",
            BOTH_WAYS,
        ),
    ),
    "04-dc": (
        _drop_forgotten(lambda c: 2 * peak_volts(c) / math.pi, MEAN),
        _one_drop(lambda c: 2 * peak_volts(c) / math.pi - c.drop_volts, MEAN),
        _half_wave(lambda c: peak_volts(c) / math.pi - c.drop_volts, MEAN),
        _rms_for_mean(rms_volts, MEAN),
        _rms_for_peak(lambda c: 2 * c.running_volts / math.pi - 2 * c.drop_volts, MEAN),
        _ac_believed(lambda c: c.running_volts, MEAN),
        _peak_for_mean(lambda c: peak_volts(c) - 2 * c.drop_volts, MEAN),
    ),
    "04-true-rms": (
        _drop_forgotten(lambda c: c.running_volts, MEAN),
        _one_drop(lambda c: c.running_volts - 0.9 * c.drop_volts, MEAN),
        _half_wave(lambda c: rms_volts(c) / math.sqrt(2), MEAN),
        _mean_for_rms(mean_volts, MEAN),
        Trap(
            "peak-for-rms",
            lambda c: peak_volts(c) - 2 * c.drop_volts,
            "That is the top of the wave. The true rms tells its heating, which is less.",
            MEAN,
        ),
        Trap(
            "ac-coupled-for-ac-dc",
            ac_volts,
            "That is the reading with the dc part blocked. The question asks for everything, ac and dc.",
            MEAN,
        ),
    ),
    "04-ac-rms": (
        _half_wave(lambda c: peak_volts(c) * math.sqrt(1 / 4 - 1 / math.pi**2), MEAN),
        Trap("mean-not-removed", rms_volts, "That reading still holds the dc part, which this meter blocks.", MEAN),
        Trap(
            "plain-subtraction",
            lambda c: rms_volts(c) - mean_volts(c),
            "The mean was taken from the rms directly. It is the squares that are subtracted, and the root comes last.",
            MEAN,
        ),
        Trap(
            "squares-added",
            lambda c: math.hypot(rms_volts(c), mean_volts(c)),
            "The square of the mean was added. This meter leaves the dc part out, so it is taken away.",
            MEAN,
        ),
        Trap(
            "drops-off-the-swing",
            lambda c: ac_volts(c) - 2 * c.drop_volts,
            "The drops were taken off here. They move the whole wave down, which a meter that blocks dc does not see.",
            MEAN,
        ),
        _ac_believed(lambda c: c.running_volts, MEAN),
    ),
    "04-ripple-hertz": (
        Trap(
            "supply-frequency-for-ripple",
            lambda c: c.generator_hertz,
            "That is the supply's own frequency, as behind one diode. A bridge turns the lower half up: count the humps.",
            FREQUENCY,
        ),
        Trap(
            "four-humps",
            lambda c: 4 * c.generator_hertz,
            "One hump for each diode was counted. The diodes work in pairs, one pair for each half cycle.",
            FREQUENCY,
        ),
        Trap(
            "street-for-generator",
            lambda c: 120.0,
            "That is the ripple on the street's supply. The generator runs at its own frequency.",
            FREQUENCY,
        ),
        Trap(
            "street-frequency-itself",
            lambda c: 60.0,
            "That is the street's own frequency. The question is about the generator, and about the humps behind a bridge.",
            FREQUENCY,
        ),
        Trap(
            "time-for-frequency",
            lambda c: 1000 / (2 * c.generator_hertz),
            "That is the time from hump to hump in milliseconds. The question asks how many there are in a second.",
            FREQUENCY,
        ),
    ),
    "04-inverse": (
        Trap(
            "neighbour-drop-forgotten",
            peak_volts,
            "That is the whole peak. The neighbour on the same rail conducts, and its drop stands in between.",
            BLOCKS,
        ),
        _two_drops(
            lambda c: peak_volts(c) - 2 * c.drop_volts,
            "Two drops were taken off. The loop through one blocked diode and the secondary passes one conducting diode.",
            BLOCKS,
        ),
        Trap(
            "two-peaks-without-capacitor",
            lambda c: 2 * peak_volts(c) - c.drop_volts,
            "Two peaks belong to one lone diode with a full capacitor behind it. In a bridge the neighbour holds the rail.",
            BLOCKS,
        ),
        Trap(
            "inverse-shared-by-two",
            lambda c: (peak_volts(c) - c.drop_volts) / 2,
            "The voltage was shared out between two diodes. Each of the two that block holds all of it.",
            BLOCKS,
        ),
        _rms_for_peak(lambda c: c.running_volts - c.drop_volts, BLOCKS),
    ),
    "04-diode-mean": (
        Trap(
            "whole-load-current",
            lambda c: 1000 * mean_volts(c) / c.load_ohm,
            "That is the load's current. Each diode carries it in one half cycle and rests in the other.",
            BLOCKS,
        ),
        Trap(
            "shared-by-four",
            lambda c: 1000 * mean_volts(c) / c.load_ohm / 4,
            "The current was shared between all the diodes. It passes two of them at a time, one after the other.",
            BLOCKS,
        ),
        _rms_for_mean(lambda c: 1000 * rms_volts(c) / c.load_ohm / 2, BLOCKS),
        _drop_forgotten(lambda c: 1000 * peak_volts(c) / math.pi / c.load_ohm, BLOCKS),
        _one_drop(lambda c: 1000 * (peak_volts(c) / math.pi - c.drop_volts / 2) / c.load_ohm, BLOCKS),
        _peak_for_mean(lambda c: 1000 * (peak_volts(c) - 2 * c.drop_volts) / c.load_ohm, BLOCKS),
    ),
    "04-short-path": (
        Trap(
            "bridged-diode-blamed",
            _path("bridged"),
            "That diode lies between the two ends of the new wire. The wire takes its work away; the short goes through another.",
            SHORT,
        ),
        Trap(
            "wrong-half-cycle",
            _path("short", same_half=False),
            "The diode is right, but in that half cycle it blocks: look which way it points, and which end is higher.",
            SHORT,
        ),
        Trap(
            "load-path-for-short",
            _path("pair"),
            "That is the pair which feeds the load in that half cycle. The short needs one diode alone and goes past the load.",
            SHORT,
        ),
        Trap(
            "other-rail",
            _path("opposite", same_half=False),
            "That would be the short if the new wire were on the other dc terminal.",
            SHORT,
        ),
        Trap(
            "both-half-cycles",
            _both_halves,
            "A diode shorts in one half cycle only. In the other half it blocks, and things look well.",
            SHORT,
        ),
    ),
    "04-fault-peak": (
        _drop_forgotten(lambda c: no_load_peak(c) / loop_ohm(c), FAULT),
        _two_drops(
            lambda c: (no_load_peak(c) - 2 * c.drop_volts) / loop_ohm(c),
            "Two drops were taken off. The short passes one diode; the new wire stands in for the other.",
            FAULT,
        ),
        _rms_for_peak(lambda c: (c.volts_rms - c.drop_volts) / loop_ohm(c), FAULT),
        _wire_forgotten(lambda c: (no_load_peak(c) - c.drop_volts) / c.resistance_ohm, FAULT),
        _winding_forgotten(lambda c: (no_load_peak(c) - c.drop_volts) / c.wire_ohm, FAULT),
        _rated_for_no_load(lambda c: (_RATED_VOLTS * math.sqrt(2) - c.drop_volts) / loop_ohm(c), FAULT),
        _rated_current(lambda c: c.volt_amperes / _RATED_VOLTS, FAULT),
        _load_limits(lambda c: (no_load_peak(c) - 2 * c.drop_volts) / c.load_ohm, FAULT),
    ),
    "04-fault-rms": (
        _drop_forgotten(lambda c: no_load_peak(c) / 2 / loop_ohm(c), FAULT),
        Trap(
            "full-wave-on-half-wave",
            lambda c: math.sqrt(2) * fault_rms_amps(c),
            "That is the factor of a full wave. The short lets current through in every second half cycle only.",
            FAULT,
        ),
        Trap(
            "peak-for-rms",
            fault_amps,
            "That is the top of the current. A fuse heats by the true rms of the whole, gaps included.",
            FAULT,
        ),
        _mean_for_rms(
            lambda c: (no_load_peak(c) / math.pi - c.drop_volts / 2) / loop_ohm(c),
            FAULT,
        ),
        Trap(
            "rms-divided-by-two",
            lambda c: c.volts_rms / 2 / loop_ohm(c),
            "Half of the secondary's rms is not the rms of half the wave: half the time is half the heat, not half the volts.",
            FAULT,
        ),
        _rated_for_no_load(
            lambda c: (_RATED_VOLTS / math.sqrt(2) - 2 / math.pi * c.drop_volts) / loop_ohm(c),
            FAULT,
        ),
        _rated_current(lambda c: c.volt_amperes / _RATED_VOLTS, FAULT),
    ),
    "04-wirings": (
        Trap(
            "same-transformer-taken-as-safe",
            _believing(safe=_ONE_TRANSFORMER),
            "Whatever hangs on one transformer and one common was taken as safe. A bridge's dc minus is not the common.",
            WIRINGS,
        ),
        Trap(
            "separate-transformers-taken-as-safe",
            _believing(safe=_SEPARATE),
            "Two transformers were taken as safe in any case. Where both commons are grounded, the ground joins them again.",
            WIRINGS,
        ),
        Trap(
            "any-joining-wire-taken-as-unsafe",
            _believing(unsafe=SAFE_CARDS - _NO_JOINING_WIRE),
            "Every wire between the dc sides was taken as a short. It is one only where it closes a loop round a diode.",
            WIRINGS,
        ),
        Trap(
            "table-upside-down",
            lambda c: tuple(int(card not in SAFE_CARDS) for card in cards(c)),
            "The table is the wrong way round: one stands for safe.",
            WIRINGS,
        ),
    ),
}
