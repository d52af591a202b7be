"""One exact solver for small networks of sources, R, L, C, switches and diodes.

Between two switching instants a network of straight-line parts is linear, and its solution is a sum of
exponentials and sines that can be written down: nothing is stepped. The instants themselves are located as the
roots of those sums. See `Network` for use.

>>> from halfcycle.network import Diode, Network
>>> net = Network()
>>> net.voltage_source("secondary", "line", "common", volts_peak=34.0)
>>> net.diode("diode", "line", "load", Diode(0.7, 0.05))
>>> net.resistor("coil", "load", "common", 200.0)
>>> run = net.steady()
>>> round(float(run.volts("coil", run.times(2000)).max()), 2)
33.29
"""

from .circuit import Network, Run
from .devices import AnyDiode, CurrentPulses, Diode, ExponentialDiode, Switch
from .parts import Capacitor, Condition, CurrentSource, Device, Exit, Inductor, Law, Resistor, VoltageSource
from .solve import SettleError

__all__ = [
    "AnyDiode", "Capacitor", "Condition", "CurrentPulses", "CurrentSource", "Device", "Diode", "Exit", "ExponentialDiode",
    "Inductor", "Law", "Network", "Resistor", "Run", "SettleError", "Switch", "VoltageSource",
]  # fmt: skip
