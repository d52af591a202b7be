"""How long a capacitor takes to empty through a resistor, read off the exact solver's curve: the second road of bleed times."""

import numpy as np

from halfcycle.network import Network

__all__ = ["seconds_to_fall"]


def seconds_to_fall(start_volts, end_volts, ohm, farad):
    """Let the solver empty a capacitor (F) through a resistor (Ω) from one voltage to a lower one (V); return the time, s.

    >>> round(seconds_to_fall(10.0, 5.0, 1000.0, 1e-3), 4)  # a half is ln 2 time constants
    0.6931
    """
    net = Network()
    net.capacitor("capacitor", "plus", "common", farad, initial_volts=start_volts)
    net.resistor("resistor", "plus", "common", ohm)
    run = net.run(4 * ohm * farad)
    times = run.times(4000)
    return float(np.interp(-end_volts, -run.volts("capacitor", times), times))
