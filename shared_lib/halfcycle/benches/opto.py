"""The bench of opto and triac: a call, an LED with its resistor, the light, a triac output, and a load that answers.

What it shows is solved in `opto_solved`, drawn in `opto_wiring` and said in `opto_words`.
"""

from dataclasses import replace
from math import inf, isfinite

from halfcycle.amounts import amount
from halfcycle.scope import Level, Trace, scope_svg
from halfcycle.wiring import Picture

from .model import Control, Reading, Situation, State, own
from .opto_solved import FLOWS_AMPS, SAMPLES, Load, Numbers, Settings, network, numbers, uncalled
from .opto_wiring import opto_picture
from .opto_words import FEEDS, ZERO_CROSS, caution, sentence

__all__ = [
    "CONTROLS",
    "NAME",
    "PRINTED",
    "SITUATIONS",
    "Load",
    "Numbers",
    "Settings",
    "markers",
    "network",
    "numbers",
    "start",
    "state",
    "traces",
    "uncalled",
    "wiring_picture",
]

NAME = "opto"
_LOADS = (Load(22.0, 0.25, 0.16), Load(90.0, 0.9, 0.045), Load(10e3, 1e-3, 0.8e-3), Load(100e3, 1e-3, 0.08e-3))
_E24_OHM = (330.0, 470.0, 680.0, 820.0, 1000.0, 1200.0, 1500.0, 2200.0, 3300.0, 4700.0, 6800.0, 8200.0, 10e3)


def _ohms(value: float) -> str:
    return amount(value, "Ω") if isfinite(value) else "nothing"


def _farads(value: float) -> str:
    return amount(value, "F") if value else "none"


CONTROLS = (
    Control("called", "Call", "", (False, True), {False: "off", True: "on"}.__getitem__),
    Control("led_resistor_ohm", "LED resistor", "Ω", _E24_OHM, _ohms),
    Control("feed", "LED fed by", "", tuple(FEEDS), lambda feed: FEEDS[feed]),
    Control("zero_cross", "Zero-cross window", "", tuple(ZERO_CROSS), lambda where: ZERO_CROSS[where]),
    Control("load", "Load", "Ω", _LOADS, lambda load: f"{load.kind} {amount(load.ohm, 'Ω')}"),
    Control("snubber_farad", "Snubber", "µF", (0.0, 10e-9, 22e-9, 47e-9, 100e-9), _farads),
    Control("across_ohm", "Across the load", "Ω", (1e3, 2.2e3, 4.7e3, 10e3, 100e3, 1e6, 10e6, inf), _ohms),
    Control("moment_degrees", "Moment", "degrees", tuple(15.0 * k for k in range(25)), lambda v: f"{v:g}°"),
)
_WELL = {
    "fault": "",
    "called": True,
    "led_resistor_ohm": 1500.0,
    "zero_cross": "none",
    "load": _LOADS[1],
    "snubber_farad": 0.0,
    "across_ohm": inf,
}
SITUATIONS = (
    Situation("All well", _WELL),
    Situation("Resistor too large", {**_WELL, "led_resistor_ohm": 8200.0}),
    Situation("Lit too late", {**_WELL, "led_resistor_ohm": 4700.0, "zero_cross": "device"}),
    Situation(
        "Phantom voltage",
        {"fault": "", "called": False, "snubber_farad": 47e-9, "load": _LOADS[3], "across_ohm": inf},
    ),
    Situation("LED open", {"fault": "LED open", "called": True}),
    Situation("Output shorted", {"fault": "output shorted", "called": False}),
)
PRINTED = (
    ("A call", Settings()),
    ("No call, a snubber, a light load", Settings(called=False, snubber_farad=47e-9, load=_LOADS[3])),
)


def start(circuit=None) -> Settings:
    """The settings at which the bench begins: the learner's own values where `circuit` has them."""
    plain = Settings()
    kept = ("led_resistor_ohm", "volts_rms", "resistance_ohm", "led_drop_volts", "trigger_amps", "latching_amps")
    kept += ("holding_amps", "snubber_ohm", "snubber_farad")
    values = {name: float(own(circuit, name, default=getattr(plain, name))) for name in kept}
    inhibit = own(circuit, "inhibit_volts")
    return replace(
        plain,
        **values,
        feed=own(circuit, "feed", default=plain.feed),
        zero_cross=own(circuit, "sense", default="none" if inhibit is None else "device"),
        inhibit_volts=float(inhibit or plain.inhibit_volts),
        across_ohm=float(own(circuit, "bleeder_ohm", default=plain.across_ohm)),
        load=_load(circuit, plain.load),
    )


def _load(circuit, plain: Load) -> Load:
    ohm = own(circuit, "coil_ohm", "input_ohm")
    if ohm is None:
        return plain
    ohm = float(ohm)
    like = min(_LOADS, key=lambda load: abs(load.ohm / ohm - 1))
    henry = float(own(circuit, "coil_henry", default=like.henry))
    answers = float(own(circuit, "pull_in_amps", default=like.answer_amps * like.ohm / ohm))
    return Load(ohm, henry, answers)


def state(settings: Settings, before: Settings | None = None) -> State:
    """All that the bench shows at `settings`, with a sentence on what changed since `before`.

    >>> state(start()).readings[0].words
    'LED current, highest'
    """
    found, quiet = numbers(settings), uncalled(settings)
    words, danger = caution(settings, found, quiet)
    return State(
        settings=settings,
        readings=_readings(settings, found, quiet),
        sentence=sentence(settings, before, found, numbers(before) if before else None, flows(settings)),
        caution=words,
        wiring_svg=wiring_picture(settings).svg(),
        scope_svg=_scope(settings),
        danger=danger,
    )


def _readings(settings: Settings, found: Numbers, quiet: Numbers) -> tuple[Reading, ...]:
    return (
        Reading("LED current, highest", found.led_peak_amps, "A", Reading("mean", found.led_mean_amps, "A")),
        Reading("LED lit, of 360°", found.led_degrees, "°"),
        Reading("Heat in LED resistor", found.resistor_watts, "W"),
        Reading("Load current, rms", found.coil_rms_amps, "A", Reading("dc part", found.coil_dc_amps, "A")),
        Reading("Load answers from", settings.load.answer_amps, "A"),
        Reading("Across the output", found.output_rms_volts, "V"),
        Reading("Across the load", found.load_rms_volts, "V"),
        Reading("Load, with no call", quiet.load_rms_volts, "V"),
    )


def flows(settings: Settings) -> dict[str, float]:
    """Currents (A) at the moment shown: of the LED, the output and the coil."""
    found, at = numbers(settings), round(settings.moment_degrees / 360 * SAMPLES)
    records = {"LED": found.led, "output": found.output_amps, "coil": found.coil}
    return {name: float(wave.values[at]) for name, wave in records.items()}


def wiring_picture(settings: Settings) -> Picture:
    """The two sides and the gap of light between them, in the state of the moment shown."""
    return opto_picture(settings, numbers(settings), flows(settings), FLOWS_AMPS)


def traces(settings: Settings) -> tuple[Trace, ...]:
    """The waveforms that the bench shows."""
    found = numbers(settings)
    return (
        Trace(found.supply, "supply", "Supply"),
        Trace(found.load, "load", "Load"),
        Trace(found.coil, "current", "Load current"),
        Trace(found.led, "diode", "LED"),
    )


def markers(settings: Settings) -> tuple[Level, ...]:
    """What is pointed out on the traces."""
    found = numbers(settings)
    marks = [Level(found.load_rms_volts, f"rms {amount(found.load_rms_volts, 'V')}")]
    if found.led_peak_amps > FLOWS_AMPS:
        marks.append(Level(settings.trigger_amps, f"needs {amount(settings.trigger_amps, 'A', 2)}", "A"))
    return tuple(marks)


def _scope(settings: Settings) -> str:
    return scope_svg(
        traces(settings),
        markers(settings),
        cursor_s=settings.moment_degrees / 360 / 60.0,
        cursor_label=f"{settings.moment_degrees:g}°",
        title="Scope picture of the output, two cycles",
    )
