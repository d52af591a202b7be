"""What lesson 10 shows: lists, menus with minutes, the readings that a learner takes, and their captures.

Everything shows itself in a notebook, each table and picture with the same content in words.
"""

from ..amounts import plain
from ..instruments import ac_rms, dc
from ..scope import Trace, scope_svg
from ..showing import sentence_html, show
from ..supply import Supply
from ..waveforms import Waveform
from .page import table
from .service_calls import capture, found, sheet
from .service_lists import CALLS, CURES, SUSPECTS

__all__ = ["capture_picture", "cures", "menu", "shows", "spent", "suspects", "take"]

_WORDS = {
    "sound": "as it should be",
    "low": "too low",
    "none": "nothing",
    "high": "far too high",
    "part": "a part",
    "full": "full",
    "open": "no path (OL)",
    "closed": "near 0 Ω",
    "reversed": "wrong sign",
    "flat": "flat at zero",
    "level": "nearly level, low",
}
_OPEN_OHM = 1e6


def suspects(call: int = 0) -> None:
    """Show the numbered suspects of one call (1 to 3), or of all."""
    wanted = [number for each in (CALLS if not call else [call]) for number in CALLS[each].suspects]
    table("Suspects", ("Number", "Suspect"), [(str(number), SUSPECTS[number].words) for number in wanted])


def cures() -> None:
    """Show the numbered cures; two of them cure nothing."""
    table("Cures", ("Number", "Cure"), [(str(number), words) for number, words in CURES.items()])


def shows(call: int) -> None:
    """Show, for each suspect of a call, the word for each reading of its menu."""
    heads = ("Suspect", *(f"Reading {number}" for number in range(1, len(CALLS[call].readings) + 1)))
    rows = [
        (str(number), *(_WORDS.get(word, word) for word in SUSPECTS[number].shows)) for number in CALLS[call].suspects
    ]
    table(f"Call {call}: what each suspect shows", heads, rows)


def menu(call: int, circuit) -> None:
    """Show what may be read on a call, the minutes of each reading on this circuit, and what the sheet says of it."""
    noted = sheet(call, circuit)
    rows = [
        (str(number), reading.words, f"{reading.cost(circuit)} min", _noted(call, reading, noted))
        for number, reading in enumerate(CALLS[call].readings, start=1)
    ]
    heads = ("Number", "Reading", "Takes", "By the sheet, when all was well")
    table(f"Call {call}, {CALLS[call].hour}, {CALLS[call].place}: what may be read", heads, rows)


def take(call: int, circuit, readings) -> int:
    """Show the readings whose numbers are in the list `readings`, and return the minutes that they take together.

    A list that holds something else is answered in one sentence, and nothing is taken (0 minutes).
    """
    chosen, trouble = _chosen(readings, len(CALLS[call].readings))
    if trouble:
        show(f"Nothing was read: {trouble}", sentence_html("Nothing was read", f": {trouble}"))
        return 0
    values, noted, menu_ = found(call, circuit), sheet(call, circuit), CALLS[call].readings
    minutes = sum(menu_[number - 1].cost(circuit) for number in chosen)
    rows = [
        (
            str(number),
            menu_[number - 1].words,
            _said(menu_[number - 1], values),
            _noted(call, menu_[number - 1], noted),
            f"{menu_[number - 1].cost(circuit)} min",
        )
        for number in chosen
    ]
    heads = ("Number", "Reading", "You found", "By the sheet", "Took")
    table(f"Call {call}, {CALLS[call].place}: {minutes} minutes of readings", heads, rows)
    if any(menu_[number - 1].name == "scope" for number in chosen):
        capture_picture(call, circuit)
    return minutes


def spent(*minutes: int) -> int:
    """Show the minutes of the calls and their sum, and return the sum.

    >>> spent(10, 5, 7)
    Minutes of readings: 10 + 5 + 7 = 22
    22
    """
    total = sum(minutes)
    said = f": {' + '.join(map(str, minutes))} = {total}"
    show(f"Minutes of readings{said}", sentence_html("Minutes of readings", said))
    return total


def capture_picture(call: int, circuit) -> None:
    """Show the scope's capture of a call as the learner finds it, two cycles, with the undisturbed R to C to compare."""
    wave = capture(call, circuit)
    title = f"Scope capture of call {call}, two cycles"
    words = (
        f"{title}: highest {plain(float(wave.values.max()))} V, lowest {plain(float(wave.values.min()))} V, "
        f"mean {plain(dc(wave))} V, rms of what is left {plain(ac_rms(wave))} V."
    )
    steady = Waveform.sine(volts_peak=Supply(circuit.volts_rms).volts_peak, hertz=circuit.hertz, cycles=2)
    traces = [Trace(steady, "supply", "R to C, to compare"), Trace(wave, "load", "captured")]
    drawn = scope_svg(traces, title=title)
    show(words, f'<div style="max-width:36em">{drawn}</div>')


def _chosen(readings, count: int) -> tuple[tuple[int, ...], str]:
    if not isinstance(readings, list | tuple):
        return (), "write the numbers in square brackets, such as [1, 3]."
    if any(isinstance(each, bool) or not isinstance(each, int) or not 1 <= each <= count for each in readings):
        return (), f"the menu has the numbers 1 to {count}."
    return tuple(dict.fromkeys(readings)), ""


def _noted(call: int, reading, noted: dict) -> str:
    return "not noted" if reading.name in CALLS[call].unnoted or reading.name == "scope" else _said(reading, noted)


def _said(reading, values: dict) -> str:
    value = values[reading.name]
    if reading.name == "scope":
        return "see the picture"
    if reading.unit == "mA":
        return f"{1000 * value:.2f} mA".replace("-0.00", "0.00")
    if reading.unit == "Ω":
        return "OL: no path" if value > _OPEN_OHM else f"{value:.1f} Ω"
    return f"{value:.1f} V".replace("-0.0 ", "0.0 ").replace("-", "−")
