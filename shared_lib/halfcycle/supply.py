"""The transformer's secondary: a sine behind the resistance and leakage of the winding."""

import math
from dataclasses import dataclass

from .values import need, not_negative, positive


@dataclass(frozen=True)
class Supply:
    """A 24 V secondary as the loads see it.

    Parameters
    ----------
    volts_rms : open-circuit (no-load) voltage, V rms
    hertz : frequency, Hz
    resistance_ohm : resistance of the winding, in series, Ω
    leakage_henry : leakage inductance, in series, H

    Errors: ValueError which names the quantity that is out of range.
    Source: the peak of a sine is √2 times its rms (closed form); one resistance and one leakage inductance in series
    stand for the winding, as in any handbook's equivalent circuit (common practice, no source).

    >>> round(Supply(24.0).volts_peak, 2), round(Supply(24.0).period_s * 1000, 2)
    (33.94, 16.67)
    """

    volts_rms: float = 24.0
    hertz: float = 60.0
    resistance_ohm: float = 0.0
    leakage_henry: float = 0.0

    def __post_init__(self):
        need(self, above_zero=("volts_rms", "hertz"), from_zero=("resistance_ohm", "leakage_henry"))

    @classmethod
    def from_rating(
        cls, volt_amperes: float, volts_rms: float = 24.0, regulation: float = 0.1, **rest: float
    ) -> "Supply":
        """The supply of a nameplate: `volts_rms` (V) at the rated load of `volt_amperes` (VA).

        `regulation` = (no-load − full-load) / full-load, a fraction; some catalogues divide by the no-load voltage
        instead. All of the drop is taken as resistive; `hertz` and `leakage_henry` are passed on as they are.
        Errors: ValueError which names the quantity that is out of range.
        Source: regulation as transformer handbooks define it on full load (seen); the rest is Ohm's law.

        >>> supply = Supply.from_rating(40, regulation=0.1)
        >>> round(supply.volts_rms, 3), round(supply.resistance_ohm, 3)
        (26.4, 1.44)
        """
        drop_volts = not_negative("regulation", regulation) * positive("volts_rms", volts_rms)
        winding_ohm = drop_volts * volts_rms / positive("volt_amperes", volt_amperes)
        return cls(volts_rms + drop_volts, resistance_ohm=winding_ohm, **rest)

    @property
    def volts_peak(self) -> float:
        """Open-circuit peak, V: √2 times the rms of a sine."""
        return self.volts_rms * math.sqrt(2)

    @property
    def period_s(self) -> float:
        """Seconds of one cycle."""
        return 1 / self.hertz
