"""Traps of lesson 07, where the filter goes. The same cause has the same name in every item and lesson."""

import math

from autograde.keys.lesson_07 import (
    ALLOWED,
    BOXES,
    CALMING_CARDS,
    COST,
    FEED,
    HEAT,
    HERTZ,
    LEFT,
    LIFT,
    PLACES,
    SNUBBER,
    capacitor_siemens,
    cards,
    least_microfarads,
    lift,
    own_snubber,
    resonance_hertz,
    snubber_amps,
    snubber_reactance,
)
from autograde.marking import Trap
from halfcycle.constants import PREFERRED, next_preferred
from halfcycle.variants.lesson_07 import box_kinds
from halfcycle.workbook.filter_places import Bus, charged

__all__ = ["TRAPS"]

_ONE_DEVICE, _LINE_SIDE, _STRAIGHT = {4, 8}, {5, 6}, {7}


def _heights(c):
    return tuple(probe.height_volts for probe in own_snubber(c))


def _tops(c):
    return tuple(probe.top_volts for probe in own_snubber(c))


def _ratio(pair):
    return pair[1] / pair[0]


def _from_zero(value, section):
    hint = "The spike was counted from zero. Its height is what stands above the wave itself at that instant."
    return Trap("height-from-zero", value, hint, section)


def _power_decibels(value, hint, section):
    return Trap("power-decibels-for-voltage", value, hint, section)


def _lost_for_left(value, section):
    hint = "That is the part that the filter takes away. The question asks for the part that is left."
    return Trap("lost-for-left", value, hint, section)


def _upside_down(value, section):
    hint = "The division is upside down: what there is after goes on top, what there was before goes below."
    return Trap("upside-down", value, hint, section)


def _previous_preferred(least):
    return max(value * decade for decade in (10, 100, 1000) for value in PREFERRED["E12"] if value * decade < least)


def _drawn(c, place):
    return charged(Bus.of(c), place).feed_volt_amperes


def _stored(c, place):
    return charged(Bus.of(c), place).charging_watts


def _whole_voltage_amps(c):
    """The current if the capacitor were a short, A."""
    return c.bus_rms_volts / c.snubber_ohm


def _plain_sum_amps(c):
    return c.bus_rms_volts / (c.snubber_ohm + snubber_reactance(c))


_CAPACITOR_FORGOTTEN = "The capacitor was left out. It holds back the supply's slow wave, so the snubber takes far less than its resistor alone would."
_PLAIN_SUM = (
    "Resistance and reactance were added plainly. They stand at a right angle: add their squares and take the root."
)
_PEAK = "The peak was used where the rms belongs. Heat and VA go by the rms."


def _snubber_traps(worth):
    """Traps of what the snubber costs; `worth` turns volts and amperes into the answer."""
    root = math.sqrt(2)
    return (
        Trap("capacitor-forgotten", lambda c: worth(c, c.bus_rms_volts, _whole_voltage_amps(c)), _CAPACITOR_FORGOTTEN, HEAT),
        Trap("plain-sum-of-impedances", lambda c: worth(c, c.bus_rms_volts, _plain_sum_amps(c)), _PLAIN_SUM, HEAT),
        Trap("peak-for-rms", lambda c: worth(c, root * c.bus_rms_volts, root * snubber_amps(c)), _PEAK, HEAT),
        Trap(
            "radians-forgotten",
            lambda c: worth(
                c, c.bus_rms_volts, c.bus_rms_volts / math.hypot(c.snubber_ohm, 2 * math.pi * snubber_reactance(c))
            ),
            "The reactance is too large: the factor of two pi is missing under it.",
            HEAT,
        ),
    )  # fmt: skip


def _believing(*groups):
    """The table of one who thinks that these cards calm the bus as well."""
    return lambda c: tuple(int(card in CALMING_CARDS.union(*groups)) for card in cards(c))


def _proved(*kinds):
    """The table of one who takes the boxes of these kinds for filters."""
    return lambda c: tuple(int(kind in kinds) for kind in box_kinds(c.lot))


TRAPS = {
    "07-left": (
        _from_zero(lambda c: 100 * _ratio(_tops(c)), LEFT),
        _lost_for_left(lambda c: 100 - 100 * _ratio(_heights(c)), LEFT),
        _upside_down(lambda c: 100 / _ratio(_heights(c)), LEFT),
        Trap(
            "fraction-for-percent",
            lambda c: _ratio(_heights(c)),
            "That is the plain ratio. For per cent it has to be multiplied once more.",
            LEFT,
        ),
    ),
    "07-decibels": (
        _power_decibels(
            lambda c: 10 * math.log10(_ratio(_heights(c))),
            "That is the factor for a ratio of powers. These are voltages, and power goes with their square.",
            LEFT,
        ),
        _from_zero(lambda c: 20 * math.log10(_ratio(_tops(c))), LEFT),
        Trap(
            "natural-logarithm",
            lambda c: 20 * math.log(_ratio(_heights(c))),
            "That is worked with the natural logarithm. Decibels use the logarithm to the base ten.",
            LEFT,
        ),
        Trap(
            "percent-in-the-logarithm",
            lambda c: 20 * math.log10(100 * _ratio(_heights(c))),
            "The logarithm was taken of the per cent. Take it of the plain ratio of the two heights.",
            LEFT,
        ),
    ),
    "07-allowed-height": (
        _power_decibels(
            lambda c: (c.sheet_top_volts - c.sheet_wave_volts) * 10 ** (-c.sheet_decibels / 10),
            "The decibels were divided as for a ratio of powers. These are voltages: a twentieth of the decibels goes in the power of ten.",
            ALLOWED,
        ),
        _from_zero(lambda c: c.sheet_top_volts * 10 ** (-c.sheet_decibels / 20), ALLOWED),
        Trap(
            "raised-for-lowered",
            lambda c: (c.sheet_top_volts - c.sheet_wave_volts) * 10 ** (c.sheet_decibels / 20),
            "The spike grew. The sheet says that it is lowered, so the power of ten takes a minus sign.",
            ALLOWED,
        ),
        Trap(
            "decibels-as-percent",
            lambda c: (c.sheet_top_volts - c.sheet_wave_volts) * (1 - c.sheet_decibels / 100),
            "The decibels were taken off as if they were per cent. They are a logarithm of the ratio.",
            ALLOWED,
        ),
        _lost_for_left(
            lambda c: (c.sheet_top_volts - c.sheet_wave_volts) * (1 - 10 ** (-c.sheet_decibels / 20)), ALLOWED
        ),
    ),
    "07-capacitor": (
        Trap(
            "full-wave-on-half-wave",
            lambda c: next_preferred(least_microfarads(c, 2)),
            "That is the answer for four diodes, which refill twice in a cycle. The feed has one diode, which refills once.",
            FEED,
        ),
        Trap(
            "next-value-below",
            lambda c: _previous_preferred(least_microfarads(c)),
            "The value below was chosen. A smaller capacitor swings more than is allowed: go up, not down.",
            FEED,
            share=0.5,
        ),
        Trap(
            "not-a-preferred-value",
            least_microfarads,
            "That capacitor is not sold. The last step is missing: the next value up in the list of preferred values.",
            FEED,
            share=0.5,
        ),
        Trap(
            "frequency-forgotten",
            lambda c: 1e3 * c.feed_milliamps / c.ripple_limit_volts,
            "The frequency is missing: the capacitor has to last for one cycle, not for a whole second.",
            FEED,
        ),
    ),
    "07-feed-extra": (
        Trap(
            "whole-for-difference",
            lambda c: _drawn(c, "feed"),
            "That is all that the feed draws with its filter. The question asks how much more that is than without.",
            COST,
        ),
        Trap(
            "without-for-with",
            lambda c: _drawn(c, "none"),
            "That is what the feed draws without a filter. The question asks how much the filter adds.",
            COST,
        ),
        Trap(
            "watts-for-va",
            lambda c: _stored(c, "feed") - _stored(c, "none"),
            "That is the power that reaches the store. The transformer has to carry the VA that the feed draws.",
            COST,
        ),
        Trap(
            "sum-for-difference",
            lambda c: _drawn(c, "feed") + _drawn(c, "none"),
            "The two readings were added. How much more one is than the other is their difference.",
            COST,
        ),
    ),
    "07-charge-time": (
        Trap(
            "without-for-with",
            lambda c: c.store_joules / _stored(c, "none"),
            "That is the time without the filter. With it, more power reaches the store: read the bench with the filter in the feed.",
            COST,
        ),
        Trap(
            "va-for-watts",
            lambda c: c.store_joules / _drawn(c, "feed"),
            "That is worked with the VA that the feed draws. What fills the store is the power that reaches it.",
            COST,
        ),
        Trap(
            "upside-down",
            lambda c: _stored(c, "feed") / c.store_joules,
            "The division is upside down: energy over power gives a time.",
            COST,
        ),
        Trap(
            "everything-multiplied",
            lambda c: _stored(c, "feed") * c.store_joules,
            "Energy and power were multiplied. A power is energy in each second, so the time is a division.",
            COST,
        ),
    ),
    "07-rule": (
        _lost_for_left(lambda c: 100 * c.bus_load_ohm / (c.snubber_ohm + c.bus_load_ohm), SNUBBER),
        Trap(
            "loads-forgotten",
            lambda c: 100 * c.snubber_ohm / c.bus_load_ohm,
            "The snubber was set against the loads alone. With the snubber in, both together carry the current.",
            SNUBBER,
        ),
        _upside_down(lambda c: 100 * (c.snubber_ohm + c.bus_load_ohm) / c.snubber_ohm, SNUBBER),
        Trap(
            "fraction-for-percent",
            lambda c: c.snubber_ohm / (c.snubber_ohm + c.bus_load_ohm),
            "That is the plain ratio. For per cent it has to be multiplied once more.",
            SNUBBER,
        ),
        Trap(
            "wrong-side-of-the-source-impedance",
            lambda c: 100 * c.resistance_ohm / (c.resistance_ohm + c.snubber_ohm),
            "That divides by the transformer's own resistance. The pulse comes from behind the source impedance; it goes round through the loads and the snubber.",
            SNUBBER,
        ),
    ),
    "07-snubber-heat": (
        *_snubber_traps(lambda c, volts, amps: 1e3 * amps**2 * c.snubber_ohm),
        Trap(
            "va-for-watts",
            lambda c: 1e3 * c.bus_rms_volts * snubber_amps(c),
            "That is what the snubber draws in VA. Only its resistor gets warm: current squared times resistance.",
            HEAT,
        ),
    ),
    "07-snubber-va": (
        *_snubber_traps(lambda c, volts, amps: volts * amps),
        Trap(
            "watts-for-va",
            lambda c: snubber_amps(c) ** 2 * c.snubber_ohm,
            "That is the heat in the resistor. What the transformer carries is voltage times current.",
            HEAT,
        ),
    ),
    "07-resonance": (
        Trap(
            "radians-for-hertz",
            lambda c: 2 * math.pi * resonance_hertz(c),
            "That is in radians in a second. For cycles in a second, two pi goes below the line as well.",
            LIFT,
        ),
        Trap(
            "root-forgotten",
            lambda c: 5033 / (c.choke_millihenry * c.lc_microfarad),
            "The root is missing: divide by the square root of the product.",
            LIFT,
        ),
        Trap(
            "sum-for-product",
            lambda c: 5033 / math.sqrt(c.choke_millihenry + c.lc_microfarad),
            "Choke and capacitor were added. The formula wants their product under the root.",
            LIFT,
        ),
    ),
    "07-lifted": (
        Trap(
            "filter-never-lifts",
            lambda c: c.bus_rms_volts,
            "That is the voltage of the bus itself. Choke and capacitor swing with the supply's slow wave and lift it.",
            LIFT,
        ),
        Trap(
            "lowered-for-lifted",
            lambda c: c.bus_rms_volts / lift(c),
            "The voltage came out lower than the bus. Below its resonance this filter lifts: divide, do not multiply.",
            LIFT,
        ),
        Trap(
            "square-forgotten",
            lambda c: c.bus_rms_volts / (1 - HERTZ / resonance_hertz(c)),
            "The ratio of the frequencies was not squared.",
            LIFT,
        ),
        Trap(
            "lift-for-volts",
            lift,
            "That is how many times the voltage is lifted. The question asks for the volts.",
            LIFT,
        ),
    ),
    "07-choke-va": (
        Trap(
            "filter-never-lifts",
            lambda c: c.bus_rms_volts**2 * capacitor_siemens(c),
            "The capacitor was put straight on the bus. It stands behind the choke, where the voltage is lifted, and so is its current.",
            LIFT,
        ),
        Trap(
            "lifted-twice",
            lambda c: (c.bus_rms_volts * lift(c)) ** 2 * capacitor_siemens(c),
            "The current was multiplied by the lifted voltage. The bus gives it at the voltage of the bus.",
            LIFT,
        ),
        Trap(
            "radians-forgotten",
            lambda c: c.bus_rms_volts**2 * lift(c) * capacitor_siemens(c) / (2 * math.pi),
            "The reactance is too large: the factor of two pi is missing under it.",
            LIFT,
        ),
    ),
    "07-places": (
        Trap(
            "wrong-side-of-the-source-impedance",
            _believing(_LINE_SIDE),
            "A filter on the line side was taken for a cure. The pulse is made behind the transformer's own impedance, and the filter stands in front of it.",
            PLACES,
        ),
        Trap(
            "quiet-thermostat-taken-as-quiet-bus",
            _believing(_ONE_DEVICE),
            "A filter ahead of one device was taken for a cure of the bus. It calms that device alone; everyone else on the bus meets the spike as before.",
            PLACES,
        ),
        Trap(
            "a-filter-anywhere-filters",
            _believing(_LINE_SIDE, _ONE_DEVICE, _STRAIGHT),
            "Every place was taken for a good one. Ask of each where the pulse is made, and whether the filter stands in its way to the others.",
            PLACES,
        ),
        Trap(
            "table-upside-down",
            lambda c: tuple(int(card not in CALMING_CARDS) for card in cards(c)),
            "The table is the wrong way round: one stands for a place that calms the bus.",
            PLACES,
        ),
    ),
    "07-boxes": (
        Trap(
            "quiet-thermostat-taken-as-quiet-bus",
            _proved("feed", "snubber", "lc"),
            "A quiet thermostat was taken for a quiet bus. Look at the captures that were taken at the bus.",
            BOXES,
        ),
        Trap(
            "unfair-test-believed",
            _proved("feed", "snubber", "other loads"),
            "One of these tests is not fair: between before and after, something else was changed than the box. Read what stands above its captures.",
            BOXES,
        ),
        Trap(
            "height-from-zero",
            _proved("feed"),
            "The spikes were counted from zero. Take the wave itself off both of them before you compare.",
            BOXES,
        ),
        Trap(
            "every-lower-trace-believed",
            _proved("feed", "snubber", "lc", "other loads"),
            "Any trace that came out lower was taken as proof. Ask of each where it was taken, and whether anything else was changed.",
            BOXES,
        ),
        Trap(
            "table-upside-down",
            lambda c: tuple(int(kind not in ("feed", "snubber")) for kind in box_kinds(c.lot)),
            "The table is the wrong way round: one stands for a box that is proved to filter.",
            BOXES,
        ),
    ),
}
