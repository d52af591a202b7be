"""Traps of lesson 01, what 24 volts means. The same cause has the same name in every item, and in the other lessons."""

import math

from autograde.keys import lesson_01 as keys
from autograde.marking import Trap

__all__ = ["TRAPS"]

_ROOT = math.sqrt(2)
_TABLE_CELSIUS = 75


def _rms_for_peak(value):
    hint = "That is the meter's own reading, the rms. The top of the wave is higher."
    return Trap("rms-for-peak", value, hint, keys.PEAK)


def _peak_for_rms(value):
    hint = "That is the peak, from the zero line to the top. A true-rms meter shows less."
    return Trap("peak-for-rms", value, hint, keys.PEAK)


def _peak_to_peak_for_peak(value):
    hint = "The peak counts from the zero line. You used the whole height, from the lowest point to the highest."
    return Trap("peak-to-peak-for-peak", value, hint, keys.PEAK)


def _twice_the_rms(value):
    hint = "You doubled a meter's reading. Peak to peak is twice the peak, and the peak is not the rms."
    return Trap("twice-the-rms", value, hint, keys.PEAK)


def _root_wrong_way(value):
    hint = "The root of two was used the wrong way round: times it from rms to peak, divided by it from peak to rms."
    return Trap("root-two-wrong-way", value, hint, keys.PEAK)


def _nameplate_for_measured(value, section):
    hint = "That uses the printed rating. The question asks about the circuit's own voltage."
    return Trap("nameplate-for-measured", value, hint, section)


def _va_over_peak(value, section):
    hint = "The volts in volt-amperes are rms volts. You divided by the peak."
    return Trap("va-over-peak", value, hint, section)


def _one_way(value, section):
    hint = "The current goes out on one conductor and back on the other. You counted one of them."
    return Trap("one-way-length", value, hint, section)


def _temperature_forgotten(value, section):
    hint = "That is copper at room temperature. Warm copper resists more and cold copper less: use the run's own temperature."
    return Trap("temperature-forgotten", value, hint, section)


def _from_zero(value, section):
    hint = "The change with temperature was counted from zero degrees. The wire table is for room temperature: count from there."
    return Trap("degrees-from-zero", value, hint, section)


def _percent_slip(value, section):
    hint = "Per cent means of a hundred. The factor of a hundred was left out, or put in on the wrong side."
    return Trap("percent-slip", value, hint, section)


def _copper(c, factor):
    """Loop of the run, Ω, at room temperature times a factor."""
    return keys.loop_ohm(c, 20) * factor


def _rise_from_zero(c):
    return 1 + 0.00393 * c.celsius


def _percent_of_copper(c):
    return _copper(c, 1 + 0.393 * (c.celsius - 20))


def _coil_run(c, share, celsius=None):
    """Longest run, ft, when ``share`` times the coil's resistance is allowed in the wire."""
    return keys.coil_run_ft(c, c.coil_ohm * share, celsius)


def _share(c):
    return c.near_volts / c.pull_in_volts - 1


TRAPS = {
    "01-peak": (
        _rms_for_peak(lambda c: c.meter_volts),
        _peak_to_peak_for_peak(lambda c: 2 * _ROOT * c.meter_volts),
        _twice_the_rms(lambda c: 2 * c.meter_volts),
        _root_wrong_way(lambda c: c.meter_volts / _ROOT),
        _nameplate_for_measured(lambda c: c.rated_volts * _ROOT, keys.PEAK),
    ),
    "01-peak-to-peak": (
        Trap(
            "peak-for-peak-to-peak",
            lambda c: _ROOT * c.meter_volts,
            "That is the peak, which counts from the zero line. Peak to peak counts from the lowest point.",
            keys.PEAK,
        ),
        _twice_the_rms(lambda c: 2 * c.meter_volts),
        _rms_for_peak(lambda c: c.meter_volts),
        _nameplate_for_measured(lambda c: 2 * c.rated_volts * _ROOT, keys.PEAK),
    ),
    "01-rms": (
        _peak_for_rms(lambda c: c.scope_volts / 2),
        _peak_to_peak_for_peak(lambda c: c.scope_volts / _ROOT),
        Trap(
            "peak-to-peak-for-rms",
            lambda c: c.scope_volts,
            "That is the whole height on the scope. A meter shows the rms, which is a good deal less.",
            keys.PEAK,
        ),
        Trap(
            "halved-twice",
            lambda c: c.scope_volts / 4,
            "The step from peak to rms is not another half: a sine spends much of its time near the top.",
            keys.PEAK,
        ),
    ),
    "01-period": (
        Trap(
            "street-frequency",
            lambda c: 1000 / 60,
            "That is the period of the street's supply. The generator runs at its own frequency.",
            keys.PERIOD,
        ),
        Trap(
            "half-cycle-for-cycle",
            lambda c: 500 / c.hertz,
            "That is half a cycle, one hump. A cycle is finished when the wave begins again.",
            keys.PERIOD,
        ),
        Trap(
            "two-cycles-for-one",
            lambda c: 2000 / c.hertz,
            "That is the time of two cycles. A cycle holds one hump above and one below the zero line.",
            keys.PERIOD,
        ),
        Trap(
            "fifty-for-sixty-hertz",
            lambda c: 1000 / 50,
            "That is the period in countries with another mains frequency. Use the generator's own frequency.",
            keys.PERIOD,
        ),
        Trap(
            "frequency-for-period",
            lambda c: c.hertz,
            "That is the frequency, cycles in a second. The period is the time that one cycle takes.",
            keys.PERIOD,
        ),
    ),
    "01-rated-amps": (
        _va_over_peak(lambda c: c.volt_amperes / (_ROOT * c.rated_volts), keys.RATING),
        Trap(
            "measured-for-rated",
            lambda c: c.volt_amperes / c.meter_volts,
            "The rating belongs to the rated voltage on the nameplate, not to what the meter shows today.",
            keys.RATING,
        ),
        Trap(
            "va-times-volts",
            lambda c: c.volt_amperes * c.rated_volts,
            "Volt-amperes are volts times amperes already, so the volts have to be divided out again.",
            keys.RATING,
        ),
        Trap(
            "volts-over-va",
            lambda c: c.rated_volts / c.volt_amperes,
            "The division is upside down: volt-amperes divided by volts leave amperes.",
            keys.RATING,
        ),
        Trap(
            "line-side-for-secondary",
            lambda c: c.volt_amperes / 120,
            "That is the current on the line side. The question asks for the secondary.",
            keys.RATING,
        ),
    ),
    "01-no-load": (
        Trap(
            "regulation-wrong-base",
            lambda c: c.rated_volts / (1 - c.regulation_percent / 100),
            "The percentage was taken of the no-load voltage. Here it is a percentage of the full-load voltage.",
            keys.NO_LOAD,
        ),
        Trap(
            "fall-for-rise",
            lambda c: c.rated_volts * (1 - c.regulation_percent / 100),
            "The nameplate's voltage holds at full load. Take the load off and the voltage goes up, not down.",
            keys.NO_LOAD,
        ),
        Trap(
            "rise-alone",
            lambda c: c.rated_volts * c.regulation_percent / 100,
            "That is only the rise. It comes on top of the rated voltage.",
            keys.NO_LOAD,
        ),
        Trap(
            "percent-for-volts",
            lambda c: c.rated_volts + c.regulation_percent,
            "The percentage was added as if it were volts. Work out that part of the rated voltage first.",
            keys.NO_LOAD,
        ),
        _percent_slip(lambda c: c.rated_volts * (1 + c.regulation_percent), keys.NO_LOAD),
    ),
    "01-load-va": (
        Trap(
            "one-of-each",
            lambda c: c.thermostat_va + c.actuator_va + c.relay_va,
            "Each kind of load was counted once. There is more than one actuator, and all of them may call at once.",
            keys.LOADS,
        ),
        Trap(
            "actuators-alone",
            lambda c: c.actuators * c.actuator_va,
            "That is the actuators alone. Everything on the list draws from the same transformer.",
            keys.LOADS,
        ),
        Trap(
            "thermostat-forgotten",
            lambda c: keys.load_va(c) - c.thermostat_va,
            "A load is missing: the thermostat feeds itself from the same transformer.",
            keys.LOADS,
        ),
        Trap(
            "relay-forgotten",
            lambda c: keys.load_va(c) - c.relay_va,
            "A load is missing: look for the pump relay.",
            keys.LOADS,
        ),
        Trap(
            "everything-multiplied",
            lambda c: c.actuators * (c.thermostat_va + c.actuator_va + c.relay_va),
            "The number belongs to the actuators only. There is one thermostat and one pump relay.",
            keys.LOADS,
        ),
    ),
    "01-load-percent": (
        _percent_slip(lambda c: keys.load_va(c) / c.volt_amperes, keys.LOADS),
        Trap(
            "upside-down",
            lambda c: 100 * c.volt_amperes / keys.load_va(c),
            "The division is upside down: the loads over the rating, not the rating over the loads.",
            keys.LOADS,
        ),
        Trap(
            "spare-for-used",
            lambda c: 100 - 100 * keys.load_va(c) / c.volt_amperes,
            "That is the part which is still free. The question asks for the part in use.",
            keys.LOADS,
        ),
    ),
    "01-loop": (
        _one_way(lambda c: keys.loop_ohm(c) / 2, keys.RUN),
        _temperature_forgotten(lambda c: _copper(c, 1), keys.RUN),
        Trap(
            "hot-table-for-this-run",
            lambda c: keys.loop_ohm(c, _TABLE_CELSIUS),
            "That is a resistance from the code's table, which is for copper far hotter than this run.",
            keys.RUN,
        ),
        _from_zero(lambda c: _copper(c, _rise_from_zero(c)), keys.RUN),
        _percent_slip(_percent_of_copper, keys.RUN),
    ),
    "01-far-volts": (
        _one_way(lambda c: c.near_volts - c.run_amps * keys.loop_ohm(c) / 2, keys.FAR),
        Trap(
            "lost-for-left",
            lambda c: c.run_amps * keys.loop_ohm(c),
            "That is what the run keeps. The question asks for what is left at its far end.",
            keys.FAR,
        ),
        Trap(
            "loss-added",
            lambda c: c.near_volts + c.run_amps * keys.loop_ohm(c),
            "The loss was added. A run can only take volts away.",
            keys.FAR,
        ),
        Trap(
            "peak-for-rms",
            lambda c: _ROOT * keys.far_volts(c),
            "That is a peak. The voltages and the current here are rms, so the answer is rms too: no root of two.",
            keys.FAR,
        ),
    ),
    "01-longest-run": (
        _one_way(lambda c: 2 * _coil_run(c, _share(c)), keys.LONGEST),
        Trap(
            "current-at-full-voltage",
            lambda c: _coil_run(c, 1 - c.pull_in_volts / c.near_volts),
            "You used the coil's current at the transformer's voltage. At the limit the coil has only its pull-in voltage.",
            keys.LONGEST,
        ),
        Trap(
            "left-for-lost",
            lambda c: _coil_run(c, 1 / _share(c)),
            "What must be left for the coil and what may be lost in the wire have changed places.",
            keys.LONGEST,
        ),
        _temperature_forgotten(lambda c: _coil_run(c, _share(c), 20), keys.LONGEST),
        _from_zero(lambda c: _coil_run(c, _share(c), 20) / _rise_from_zero(c), keys.LONGEST),
    ),
    "01-class-2": (
        Trap(
            "output-limit-for-nameplate",
            lambda c: 250 / c.nameplate_volts,
            "That uses the volt-amperes a source may give for a short time. The nameplate has a figure of its own.",
            keys.CLASS_2,
        ),
        Trap(
            "current-limit-for-nameplate",
            lambda c: 1000 / c.nameplate_volts,
            "That is the current limit of a source that is not inherently limited. The nameplate has a figure of its own.",
            keys.CLASS_2,
        ),
        Trap(
            "inherent-limit-for-nameplate",
            lambda c: 8.0,
            "That is the current limit of an inherently limited source. The nameplate has a figure of its own.",
            keys.CLASS_2,
        ),
        _va_over_peak(lambda c: 100 / (_ROOT * c.nameplate_volts), keys.CLASS_2),
        _nameplate_for_measured(lambda c: 100 / c.rated_volts, keys.CLASS_2),
    ),
}
