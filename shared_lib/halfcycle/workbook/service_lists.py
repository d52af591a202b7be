"""The printed lists of lesson 10: suspects, cures, readings with their minutes, and what each suspect would show.

The words of `SHOWS` follow from the circuits: lesson 10's keys work them out again with the solver.
"""

from dataclasses import dataclass

__all__ = ["CALLS", "CURES", "SUSPECTS", "Call", "Reading", "Suspect"]


@dataclass(frozen=True)
class Suspect:
    """One fault of the list: what it is, the cure's number, its name for the solver, and a word for each reading of its call."""

    words: str
    cure: int
    solver_name: str
    shows: tuple[str, ...]


@dataclass(frozen=True)
class Reading:
    """One line of a menu: what is measured, its name in the solver's readings, its unit, and the minutes it takes.

    `stairs`, `lifts` and `scopes` say how often a floor is climbed, a wire lifted, the scope set up.
    """

    words: str
    name: str
    unit: str
    minutes: int
    stairs: int = 0
    lifts: int = 0
    scopes: int = 0

    def cost(self, circuit) -> int:
        """Minutes of this reading with the learner's own stairs, wires and scope."""
        return (
            self.minutes
            + self.stairs * circuit.stairs_minutes
            + self.lifts * circuit.lift_minutes
            + self.scopes * circuit.scope_minutes
        )


@dataclass(frozen=True)
class Call:
    """One service call: place, hour, complaint, its suspects by number, its readings (number 1 first), and what the sheet leaves out."""

    place: str
    hour: str
    complaint: str
    suspects: tuple[int, ...]
    readings: tuple[Reading, ...]
    unnoted: tuple[str, ...] = ()


SUSPECTS = {
    1: Suspect("The diode on the valve's board is open.", 31, "diode open",
               ("sound", "sound", "sound", "none", "none", "flat")),
    2: Suspect("The diode on the valve's board is shorted.", 25, "diode shorted",
               ("sound", "sound", "sound", "none", "high", "both ways")),
    3: Suspect("The filter capacitor on the valve's board has dried out: it is open.", 28, "capacitor open",
               ("sound", "sound", "sound", "low", "high", "humps")),
    4: Suspect("The run to the valve has too much resistance: too long and thin, or a bad joint in it.", 22, "poor run",
               ("sound", "sound", "low", "low", "low", "level")),
    5: Suspect("The transformer is too small for what hangs on it.", 32, "small transformer",
               ("low", "sound", "low", "low", "low", "level")),
    6: Suspect("The bleeder across the boiler control's input is open: what leaks through the snubber looks like a call.", 24,
               "bleeder open", ("part", "none", "part", "none", "open", "part")),
    7: Suspect("The output of the relay board is shorted.", 27, "output shorted",
               ("full", "none", "full", "none", "closed", "full")),
    8: Suspect("The contact in the thermostat is stuck: it never stops calling.", 29, "contact stuck",
               ("full", "full", "none", "none", "open", "full")),
    9: Suspect("In the wall, the run from the thermostat is shorted from R to W.", 33, "run shorted",
               ("full", "full", "none", "full", "open", "full")),
    10: Suspect("Diode A, the heat diode at the thermostat, is open.", 34, "diode A open",
                ("none", "none", "none", "sound", "flat")),
    11: Suspect("Diode A is shorted.", 30, "diode A shorted",
                ("none", "high", "sound", "sound", "both ways")),
    12: Suspect("Diode A is the wrong way round.", 23, "diode A reversed",
                ("reversed", "sound", "none", "sound", "lower humps")),
    13: Suspect("On the relay board, the joint from the LEDs to C is lost.", 26, "common lost",
                ("sound", "sound", "none", "sound", "upper humps")),
    14: Suspect("The relay board's LED resistors are far too large.", 21, "resistor too large",
                ("sound", "sound", "low", "sound", "upper humps")),
}  # fmt: skip

CURES = {
    21: "Fit LED resistors of the value in the board's drawing.",
    22: "Run heavier conductors, or make the bad joint anew.",
    23: "Turn the diode round.",
    24: "Put a new bleeder of the right value across the input.",
    25: "Replace the diode, and with it the capacitor, which has had ac across it.",
    26: "Make the joint between the LEDs and C anew.",
    27: "Replace the output, or the relay board.",
    28: "Replace the capacitor: same capacitance, 50 V.",
    29: "Replace the contact, or the thermostat.",
    30: "Replace the thermostat's diode: it lets both halves through.",
    31: "Replace the diode on the board: it lets nothing through.",
    32: "Fit a transformer with enough VA.",
    33: "Move W to a spare conductor, or pull a new run.",
    34: "Replace the thermostat's diode: it lets nothing through.",
    35: "Fit the next larger fuse.",
    36: "Replace transformer, thermostat and board at once, to be safe.",
}

CALLS = {
    1: Call(
        "Reading room",
        "8:10",
        "“The hot-water valve in the reading room does not open any more. It worked all last winter. The frost heater next "
        "to it hangs on the same two wires; I cannot tell whether that is warm.”",
        (1, 2, 3, 4, 5),
        (
            Reading("ac volts, R to C at the transformer, all loads on", "transformer", "V", 3),
            Reading("ac volts, R to C at the transformer, load wire lifted", "no load", "V", 3, lifts=2),
            Reading("ac volts, R to C at the valve, all loads on", "valve", "V", 3, stairs=1),
            Reading("dc volts, plus to minus on the valve's board", "board dc", "V", 5, stairs=1),
            Reading("ac-coupled volts, plus to minus on the valve's board", "board ac", "V", 6, stairs=1),
            Reading("scope capture, plus to minus on the valve's board", "scope", "", 2, stairs=1, scopes=1),
        ),
    ),
    2: Call(
        "Boiler room",
        "10:40",
        "“The boiler fires and fires, and nobody is calling for heat. I turned the thermostat right down, and it made no "
        "difference.”",
        (6, 7, 8, 9),
        (
            Reading("ac volts at the boiler control's input", "input", "V", 5),
            Reading("ac volts, W to C at the relay board", "W", "V", 4),
            Reading("ac volts at the boiler control's input, W lifted at the board", "input, W off", "V", 4, lifts=1),
            Reading(
                "ac volts, W to C at the relay board, W lifted at the thermostat",
                "W, thermostat off",
                "V",
                3,
                stairs=1,
                lifts=1,
            ),
            Reading("ohms across the output, all off, both its leads lifted", "output ohm", "Ω", 3, lifts=2),
            Reading("scope capture at the boiler control's input", "scope", "", 3, scopes=1),
        ),
    ),
    3: Call(
        "Staff room",
        "14:15",
        "“I ask for heat in the staff room and it is not right: it does not get warm, or the wrong thing comes on. The fan "
        "by itself works as it always did.”",
        (10, 11, 12, 13, 14),
        (
            Reading("dc volts, shared conductor to C, heat alone called", "heat dc", "V", 4, stairs=1),
            Reading("ac-coupled volts, shared conductor to C, heat alone called", "heat ac", "V", 5, stairs=1),
            Reading("dc current through LED A, heat alone called", "LED A", "mA", 3, stairs=1, lifts=1),
            Reading("dc volts, shared conductor to C, fan alone called", "fan dc", "V", 6, stairs=1),
            Reading("scope capture, shared conductor to C, heat alone called", "scope", "", 2, stairs=1, scopes=1),
        ),
        ("LED A",),
    ),
}
