"""A solved circuit and its probes: what every circuit of the course hands back."""

from functools import cached_property
from typing import ClassVar

import numpy as np

from .network import Network, Run
from .waveforms import Waveform

__all__ = ["Solved"]


class Solved:
    """The waveforms of a solved circuit; who inherits has `network`, its `run`, and `steps`, the steps it is sampled in.

    `usual` names the quantities that are nearly always asked for: solved together, they cost little more than one.
    """

    usual: ClassVar[tuple[tuple[str, str], ...]] = ()
    network: Network
    run: Run
    steps: int

    def waveform(self, quantity: str, part: str) -> Waveform:
        """The "volts" across or the "amps" through any part of `network`, from 0 s on.

        Errors: ValueError where the network has no such part.
        """
        times = self._seconds
        values = self._usual.get((quantity, part))
        if values is None:
            values = self.run.quantities([(quantity, part)], times)[0]
        return Waveform(times - times[0], values, quantity[0].upper())

    @cached_property
    def _seconds(self) -> np.ndarray:
        return self.run.times(self.steps)

    @cached_property
    def _usual(self) -> dict[tuple[str, str], np.ndarray]:
        values = self.run.quantities(list(self.usual), self._seconds) if self.usual else ()
        return dict(zip(self.usual, values, strict=True))
