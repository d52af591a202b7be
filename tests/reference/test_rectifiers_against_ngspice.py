"""The exact solver against ngspice, a general-purpose circuit simulator, on the same circuits."""

import shutil
import subprocess

import numpy as np
import pytest

from halfcycle import Diode, Supply, rectify
from halfcycle.network import Capacitor, Inductor, Resistor
from halfcycle.network.parts import OFF_SIEMENS
from halfcycle.rectifier import rectifier_network

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is missing; install it with: apt-get install ngspice"
)

DIODE = Diode(0.8, 0.1)
SUPPLY = Supply(24.0, resistance_ohm=1.2, leakage_henry=0.3e-3)
CYCLES = 4


def netlist(net, degrees: float) -> str:
    """SPICE text of a rectifier's parts; node names without blanks, ground called 0."""
    names = {net.ground: "0"}
    lines = ["written from the Network object"]
    for number, (name, (part, plus, minus)) in enumerate(net.parts.items()):
        a, b = (names.setdefault(node, f"n{len(names)}") for node in (plus, minus))
        if isinstance(part, Resistor):
            lines.append(f"R{number} {a} {b} {part.ohm!r}")
        elif isinstance(part, Inductor):
            lines.append(f"L{number} {a} {b} {part.henry!r} ic=0")
        elif isinstance(part, Capacitor):
            lines.append(f"C{number} {a} {b} {part.farad!r} ic=0")
        elif name == "secondary":
            lines.append(f"V{number} {a} {b} sin(0 {part.volts_peak!r} {part.hertz!r} 0 0 {degrees!r})")
        else:
            v, corner = f"v({a},{b})", OFF_SIEMENS * DIODE.drop_volts
            on = f"({v}-{DIODE.drop_volts})/{DIODE.on_ohm}+{corner!r}"
            lines.append(f"B{number} {a} {b} i={v}>{DIODE.drop_volts} ? {on} : {OFF_SIEMENS!r}*{v}")
    return "\n".join(lines), names


def simulate(net, degrees: float, folder) -> tuple[np.ndarray, np.ndarray]:
    """Times and load voltage by ngspice, 1 µs at most a step."""
    text, names = netlist(net, degrees)
    end, data = CYCLES / 60, folder / "out.txt"
    text += f"\n.options reltol=1e-6 abstol=1e-10 vntol=1e-8 method=gear\n.tran 4e-6 {end!r} 0 2e-6 uic\n"
    text += f".control\nset filetype=ascii\nrun\nwrdata {data} v({names['plus']})\nquit\n.endc\n.end\n"
    (folder / "net.cir").write_text(text)
    done = subprocess.run(["ngspice", "-b", "net.cir"], cwd=folder, capture_output=True, text=True, timeout=120)
    assert data.exists(), done.stdout + done.stderr
    columns = np.loadtxt(data)
    return columns[:, 0], columns[:, 1]


CASES = {
    "half": {"kind": "half", "load_ohm": 150.0},
    "half with capacitor": {"kind": "half", "load_ohm": 330.0, "capacitor_farad": 220e-6},
    "bridge": {"kind": "bridge", "load_ohm": 150.0},
    "bridge with capacitor": {"kind": "bridge", "load_ohm": 330.0, "capacitor_farad": 470e-6},
}


@pytest.mark.parametrize("degrees", [0.0, 90.0])
@pytest.mark.parametrize("case", CASES)
def test_switch_on_agrees_within_a_thousandth_of_the_peak(case, degrees, tmp_path):
    circuit = CASES[case]
    times, volts = simulate(rectifier_network(SUPPLY, diode=DIODE, **circuit), degrees, tmp_path)
    ours = rectify(SUPPLY, diode=DIODE, cycles=CYCLES, start_degrees=degrees, **circuit)
    reference_start = degrees / 360 / 60
    exact = ours.run.volts("load", np.clip(times + reference_start, ours.run.begin, ours.run.end))
    later = times > 20e-6
    assert np.abs(exact - volts)[later].max() < 1.2e-3 * SUPPLY.volts_peak
    last = times > (CYCLES - 1) / 60
    span = times[last][-1] - times[last][0]
    for power in (1, 2):
        figure = np.trapezoid(exact[last] ** power, times[last]) / span
        assert figure == pytest.approx(np.trapezoid(volts[last] ** power, times[last]) / span, rel=1e-3)
