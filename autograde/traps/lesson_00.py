"""Traps of lesson 00, before you open the panel. The same cause has the same name in every item, and in the other lessons."""

from math import log, log10, sqrt

from autograde.keys import lesson_00 as keys
from autograde.marking import Trap
from halfcycle.workbook import sheets

__all__ = ["TRAPS"]

_CREST = sqrt(2)


def _rms_for_peak(value, section):
    hint = "The meter's reading, the rms, was used where the peak belongs: behind a diode a capacitor charges up to the crest."
    return Trap("rms-for-peak", value, hint, section)


def _peak_for_rms(value, section):
    hint = "The peak was used. Amperes here are rms amperes, so they come from rms volts."
    return Trap("peak-for-rms", value, hint, section)


def _rated_for_no_load(value, section):
    hint = "The rated voltage was used. The nameplate's voltage holds at full load; this question starts from the voltage with no load."
    return Trap("rated-for-no-load", value, hint, section)


def _source_ignored(value, section):
    hint = "The transformer's own resistance was left out. The current goes through its winding too, and the winding limits it."
    return Trap("source-resistance-ignored", value, hint, section)


def _rated_current(section):
    hint = "That is the current of the nameplate, which a healthy load draws. A short is limited by resistance, not by the rating."
    return Trap("rated-current-for-fault", lambda c: c.volt_amperes / c.rated_volts, hint, section)


def _exchanged(value, hint, section):
    return Trap("exchanged", value, hint, section)


def _flipped(cards, names):
    """A card's right table with the entries of the named rows turned over."""
    return lambda right, c: tuple(entry ^ (name in names) for entry, name in zip(right, cards(c), strict=True))


def _sides(c):
    return tuple(int(name in keys.ON_THE_LINE) for name in sheets.parts(c.parts_sheet))


def _order(c):
    return tuple(int(pair in keys.RIGHT_ORDER) for pair in sheets.pairs(c.order_sheet))


def _clips(c):
    side = sheets.grounded(c.clip_sheet)
    return tuple(keys.shorts(side, name) for name in sheets.connections(c.clip_sheet))


def _wrong_part(name, part, hint):
    flip = _flipped(lambda c: sheets.parts(c.parts_sheet), {part})
    return Trap(name, lambda c: flip(_sides(c), c), hint, keys.SIDES)


def _wrong_pair(name, pair, hint):
    flip = _flipped(lambda c: [tuple(sorted(both)) for both in sheets.pairs(c.order_sheet)], {tuple(sorted(pair))})
    return Trap(name, lambda c: flip(_order(c), c), hint, keys.ORDER)


def _wrong_clip(name, connection, hint):
    flip = _flipped(lambda c: sheets.connections(c.clip_sheet), {connection})
    return Trap(name, lambda c: flip(_clips(c), c), hint, keys.CLIP)


def _taken_for_grounded(c):
    """The table of a panel with its other side grounded."""
    other = "RC".replace(sheets.grounded(c.clip_sheet), "")
    return tuple(keys.shorts(other, name) for name in sheets.connections(c.clip_sheet))


def _tau(c):
    return c.bleed_ohm * c.capacitor_microfarad * 1e-6


def _ratio(c):
    return keys.start_volts(c) / keys.SAFE_VOLTS


def _log(c):
    return log(_ratio(c))


def _times(name, factor, hint):
    """The traps of one cause for the time of a bleeder and for the bleeder of a time."""
    return (
        Trap(name, lambda c: _tau(c) * factor(c), hint, keys.BLEED),
        Trap(name, lambda c: c.wanted_seconds / (c.capacitor_microfarad * 1e-6 * factor(c)), hint, keys.BLEED),
    )


_BLEEDING = (
    _times(
        "one-time-constant",
        lambda c: 1.0,
        "One time constant was taken as empty. After one time constant more than a third of the voltage is still there.",
    ),
    _times(
        "five-time-constants",
        lambda c: 5.0,
        "Five time constants is the habit for as good as empty. The question asks when one stated voltage is reached.",
    ),
    _times(
        "log10-for-ln",
        lambda c: log10(_ratio(c)),
        "The key marked log was used where the formula wants the natural logarithm, ln.",
    ),
    _times(
        "logarithm-forgotten",
        _ratio,
        "The ratio of the two voltages was used as it is. Its natural logarithm belongs there.",
    ),
    _times(
        "rms-for-peak",
        lambda c: log(_ratio(c) / _CREST),
        "The meter's reading, the rms, was used for the start. The capacitor starts at the peak, which is higher.",
    ),
    _times(
        "rated-for-no-load",
        lambda c: log(24 * _CREST / keys.SAFE_VOLTS),
        "The start was taken from the rated voltage. With no load the transformer, and so the capacitor, stands higher.",
    ),
)

_BRACKETS = "What stands below the line was not held together. Put round brackets around all that divides."

TRAPS = {
    "00-line-amps": (
        Trap(
            "secondary-for-line",
            lambda c: c.volt_amperes / c.rated_volts,
            "That is the current on the low-voltage side. Divide by the voltage of the side that is asked for.",
            keys.LINE_AMPS,
        ),
        Trap(
            "va-over-peak",
            lambda c: c.volt_amperes / (_CREST * c.line_volts),
            "The volts in volt-amperes are rms volts. You divided by the peak.",
            keys.LINE_AMPS,
        ),
        Trap(
            "upside-down",
            lambda c: c.line_volts / c.volt_amperes,
            "The division is upside down: volt-amperes hold the volts already, so divide them by the volts.",
            keys.LINE_AMPS,
        ),
    ),
    "00-sides": (
        _exchanged(
            lambda c: tuple(1 - entry for entry in _sides(c)),
            "The two sides are exchanged: the sheet wants a one for the line side.",
            keys.SIDES,
        ),
        _wrong_part(
            "contact-goes-with-coil",
            "contact",
            "A relay stands on both sides. You put its contact on the side of its coil, and the contact switches the pump.",
        ),
        _wrong_part(
            "coil-goes-with-contact",
            "coil",
            "A relay stands on both sides. You put its coil on the side of its contact, and the thermostat feeds the coil.",
        ),
        Trap(
            "one-box-one-side",
            lambda c: (1,) * len(_sides(c)),
            "It is right to be careful with everything in the box. The sheet asks which side a part is wired to.",
            keys.SIDES,
        ),
    ),
    "00-order": (
        _exchanged(
            lambda c: tuple(1 - entry for entry in _order(c)),
            "Every row is turned round: a one says that the first step comes before the second.",
            keys.ORDER,
        ),
        _wrong_pair(
            "verify-before-lock",
            ("lock", "test"),
            "The test was put before the lock. Without your lock somebody can switch on between your test and your hands.",
        ),
        _wrong_pair(
            "lock-before-off",
            ("lock", "off"),
            "The lock was put before the switching off. A lock on a closed switch holds it on.",
        ),
        _wrong_pair(
            "off-before-finding",
            ("find", "off"),
            "The switching off was put before the search for sources. A panel can have two, and one switch is then not enough.",
        ),
        _wrong_pair(
            "tester-not-tried-first",
            ("prove", "test"),
            "The tester was tried only after the test. A dead tester makes every part look dead.",
        ),
        _wrong_pair(
            "tester-not-tried-again",
            ("prove again", "reach"),
            "The hands went in before the tester was tried once more. It may have failed in the middle of the test.",
        ),
        _wrong_pair(
            "hands-before-bleeding",
            ("bleed", "reach"),
            "The hands went in before the capacitors were bled. A lock does not empty a capacitor.",
        ),
    ),
    "00-start-volts": (
        _rms_for_peak(lambda c: c.volts_rms, keys.CHARGED),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: 2 * _CREST * c.volts_rms,
            "The whole height of the wave was used. One diode charges the capacitor to one crest, counted from zero.",
            keys.CHARGED,
        ),
        Trap(
            "root-two-wrong-way",
            lambda c: c.volts_rms / _CREST,
            "The root of two was used the wrong way round: times it from rms to peak.",
            keys.CHARGED,
        ),
        _rated_for_no_load(lambda c: _CREST * c.rated_volts, keys.CHARGED),
    ),
    "00-bleed-time": tuple(time for time, _ in _BLEEDING),
    "00-bleeder": (
        *(resistor for _, resistor in _BLEEDING),
        Trap(
            "brackets-forgotten",
            lambda c: c.wanted_seconds / (c.capacitor_microfarad * 1e-6) * _log(c),
            _BRACKETS,
            keys.BLEED,
        ),
        Trap(
            "brackets-forgotten-twice",
            lambda c: c.wanted_seconds / c.capacitor_microfarad * 1e-6 * _log(c),
            _BRACKETS,
            keys.BLEED,
        ),
    ),
    "00-bleed-watts": (
        _rms_for_peak(lambda c: c.volts_rms**2 / c.bleed_ohm, keys.HEAT),
        Trap(
            "amps-for-watts",
            lambda c: keys.start_volts(c) / c.bleed_ohm,
            "That is the current. Times the voltage once more gives the heat.",
            keys.HEAT,
        ),
        Trap(
            "end-for-start",
            lambda c: keys.SAFE_VOLTS**2 / c.bleed_ohm,
            "That is the heat at the end, when little is left. The resistor must stand the start.",
            keys.HEAT,
        ),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: (2 * keys.start_volts(c)) ** 2 / c.bleed_ohm,
            "The whole height of the wave was used. The capacitor stands at one crest, counted from zero.",
            keys.HEAT,
        ),
    ),
    "00-clip": (
        _exchanged(
            _taken_for_grounded,
            "The sides are exchanged: a clip on the grounded side joins ground to ground, and nothing flows. Look which side your sheet grounds.",
            keys.CLIP,
        ),
        _wrong_clip(
            "switch-ignored",
            "W calling",
            "The thermostat's switch was overlooked. When it calls it joins W to R, so W is then at the same point as R.",
        ),
        _wrong_clip(
            "coil-taken-for-short",
            "W idle",
            "A coil was taken for a wire. It stands between W and C and lets only its own small current through.",
        ),
        _wrong_clip(
            "battery-scope-grounded",
            "battery",
            "A scope on its own battery was taken to be grounded. It has no plug, so its clip has no way to ground.",
        ),
    ),
    "00-clip-amps": (
        _source_ignored(lambda c: keys.clip_amps(c, ohm=c.lead_ohm), keys.CLIP_AMPS),
        Trap(
            "lead-forgotten",
            lambda c: keys.clip_amps(c, ohm=c.source_ohm),
            "The scope's lead and its way back were left out, or stood outside the brackets. They are in series with the winding.",
            keys.CLIP_AMPS,
            share=0.5,
        ),
        _rated_for_no_load(lambda c: keys.clip_amps(c, volts=c.rated_volts), keys.CLIP_AMPS),
        _peak_for_rms(lambda c: keys.clip_amps(c) * _CREST, keys.CLIP_AMPS),
        _rated_current(keys.CLIP_AMPS),
    ),
    "00-short-amps": (
        _source_ignored(lambda c: keys.short_amps(c, ohm=2 * c.wire_ohm), keys.SHORT),
        Trap(
            "run-forgotten",
            lambda c: keys.short_amps(c, ohm=c.source_ohm),
            "The run was left out, or stood outside the brackets. Its two conductors are in series with the winding.",
            keys.SHORT,
        ),
        Trap(
            "one-way-length",
            lambda c: keys.short_amps(c, ohm=c.source_ohm + c.wire_ohm),
            "The current goes out on one conductor and back on the other. You counted one of them.",
            keys.SHORT,
        ),
        _rated_for_no_load(lambda c: keys.short_amps(c, volts=c.rated_volts), keys.SHORT),
        _peak_for_rms(lambda c: keys.short_amps(c) * _CREST, keys.SHORT),
        _rated_current(keys.SHORT),
    ),
    "00-fuse": (
        Trap(
            "line-fuse-first",
            lambda c: (1, 0, 0),
            "The fuse in the line was taken. Its rating is small, but the transformer passes far fewer amperes on to it.",
            keys.FUSES,
        ),
        Trap(
            "short-on-the-wrong-side",
            lambda c: keys.largest(keys.fuse_multiples(c, place=3 - c.short_place)),
            "The short was taken to be on the other side of the last fuse. A fuse that lies behind the short carries none of its current.",
            keys.FUSES,
        ),
        Trap(
            "all-that-carry",
            lambda c: (1, 1, int(c.short_place == 2)),
            "Every fuse that carries the current was marked. The first to open cuts the current for the others: mark one.",
            keys.FUSES,
        ),
    ),
}
