"""Copper control wire: how thick a gauge is and what a run of it resists.

Solid, annealed, uncoated copper. Diameter by ASTM B258, resistivity and its rise with temperature by IEC 60028.
"""

import math
from dataclasses import dataclass

from .constants import CONSTANTS
from .values import need


@dataclass(frozen=True)
class Wire:
    """A two-conductor run of one gauge, out to the load and back.

    Parameters
    ----------
    gauge_awg : gauge number, whole, 0 to 40
    length_ft : length of the run one way, ft
    celsius : temperature of the copper, °C, -50 to 150 (common practice, no source)

    Errors: ValueError which names the quantity that is out of range.
    Source: diameter by ASTM B258, resistivity and temperature coefficient by IEC 60028 (both seen).

    >>> round(Wire(18, 100).loop_ohm, 3)
    1.277
    """

    gauge_awg: int
    length_ft: float
    celsius: float = 20.0

    def __post_init__(self):
        if self.gauge_awg not in range(41):
            raise ValueError(f"gauge_awg must be a whole gauge number from 0 to 40, not {self.gauge_awg!r}.")
        need(self, from_zero=("length_ft",))
        if not -50 <= self.celsius <= 150:  # the straight line with temperature is good for about this span
            raise ValueError(f"celsius must be from -50 to 150 °C, not {self.celsius!r}.")

    @property
    def diameter_in(self) -> float:
        """Diameter of the copper, in. Source: ASTM B258.

        >>> round(Wire(18, 0).diameter_in, 4)
        0.0403
        """
        ratio = float(CONSTANTS["diameter ratio of 39 gauge steps"])
        return float(CONSTANTS["diameter of 36 AWG"]) * ratio ** ((36 - self.gauge_awg) / 39)

    @property
    def ohm_per_1000ft(self) -> float:
        """Resistance of one conductor, Ω per 1,000 ft, at `celsius`. Source: IEC 60028.

        >>> round(Wire(18, 0).ohm_per_1000ft, 3), round(Wire(18, 0, celsius=75).ohm_per_1000ft, 3)
        (6.385, 7.765)
        """
        area_mm2 = math.pi / 4 * (self.diameter_in * float(CONSTANTS["inch"])) ** 2
        cold_ohm = float(CONSTANTS["copper resistivity"]) * 1000 * float(CONSTANTS["foot"]) / area_mm2
        return cold_ohm * (1 + float(CONSTANTS["copper temperature coefficient"]) * (self.celsius - 20.0))

    @property
    def one_way_ohm(self) -> float:
        """Resistance of one conductor from end to end, Ω."""
        return self.ohm_per_1000ft * self.length_ft / 1000

    @property
    def loop_ohm(self) -> float:
        """Resistance out and back, Ω: the current goes through both conductors.

        >>> Wire(18, 100).loop_ohm == 2 * Wire(18, 100).one_way_ohm
        True
        """
        return 2 * self.one_way_ohm
