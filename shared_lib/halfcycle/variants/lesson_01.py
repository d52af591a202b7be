"""Lesson 01, what 24 volts means: a transformer on a standby generator, its list of loads, a run, a far contactor.

Ratings are common class 2 nameplates; a small transformer's regulation is 10 to 20 %, a loaded one is chosen for 55 to 93 %
of its rating, and a run that loses 1 to 3.5 V is one a technician looks at twice (all common practice, no source).
The contactor's coil is a preferred value (series E24 of IEC 60063).
"""

from halfcycle.variants import Draw
from halfcycle.wire import Wire

__all__ = ["DRAWS", "accept", "derived"]

RATED_VOLTS = 24

DRAWS = {
    "meter_volts": Draw(
        tuple(round(25.0 + 0.1 * step, 1) for step in range(35)), "V", "your meter at R and C, few loads running, rms"
    ),
    "scope_volts": Draw(
        tuple(range(65, 86)), "V", "a scope on the rooftop unit's own secondary, lowest to highest point"
    ),
    "hertz": Draw((57, 57.5, 58, 58.5, 61.5, 62, 62.5, 63), "Hz", "the standby generator, while the street is out"),
    "volt_amperes": Draw((40, 50, 60, 75, 80), "VA", "rated load of the transformer"),
    "regulation_percent": Draw(tuple(range(10, 21)), "%", "regulation of the transformer"),
    "thermostat_va": Draw((2, 3, 4), "VA", "the thermostat"),
    "actuators": Draw((4, 5, 6), "", "number of zone actuators that may call at once"),
    "actuator_va": Draw((5, 5.5, 6, 6.5, 7, 7.5), "VA", "each zone actuator"),
    "relay_va": Draw((6, 7, 8, 9, 10), "VA", "the pump relay"),
    "length_ft": Draw(tuple(range(60, 310, 10)), "ft", "length of the run to the zone panel, one way"),
    "gauge_awg": Draw((18, 20, 22), "AWG", "gauge of the run, solid copper"),
    "celsius": Draw((-10, -5, 35, 40, 45, 50), "°C", "temperature of the copper along the run"),
    "run_amps": Draw(
        tuple(round(0.5 + 0.05 * step, 2) for step in range(23)), "A", "current in the run, zones calling"
    ),
    "near_volts": Draw(
        tuple(round(23.8 + 0.1 * step, 1) for step in range(17)), "V", "at the transformer, zones calling, rms"
    ),
    "coil_ohm": Draw((12, 13, 15, 16, 18, 20, 22, 24), "Ω", "the far contactor's coil, until it has pulled in"),
    "pull_in_volts": Draw((17, 17.5, 18, 18.5, 19, 19.5, 20), "V", "pull-in voltage of the far contactor, rms"),
    "nameplate_volts": Draw(
        (21, 21.5, 22, 22.5, 25, 25.5, 26, 26.5, 27, 27.5, 28, 28.5),
        "V",
        "a spare class 2 transformer, on its nameplate",
    ),
}


def accept(values):
    """Turn away what no one would build or read: see the limits named above; a loaded secondary reads below an idle one."""
    no_load_volts = RATED_VOLTS * (100 + values["regulation_percent"]) / 100
    load_va = values["thermostat_va"] + values["actuators"] * values["actuator_va"] + values["relay_va"]
    wire = Wire(values["gauge_awg"], values["length_ft"], values["celsius"])
    return (
        values["near_volts"] < values["meter_volts"] < no_load_volts
        and 0.55 <= load_va / values["volt_amperes"] <= 0.93
        and values["run_amps"] <= load_va / RATED_VOLTS
        and 1.0 <= values["run_amps"] * wire.loop_ohm <= 3.5
    )


def derived(values):
    """Return the printed value that all circuits share: the voltage for which everything on the list is made."""
    return {"rated_volts": (RATED_VOLTS, "V", "rated voltage of the transformer and of every load, rms")}
