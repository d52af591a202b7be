"""A solved circuit and its probes: what every circuit of the course hands back."""

from functools import cached_property
from typing import ClassVar

import numpy as np

from .network import Network, Run
from .waveforms import Waveform


class probe(cached_property):
    """A waveform of a solved circuit: the "volts" across or the "amps" through a part, times `sign`.

    In the name of the part, braces stand for a field of the circuit's solution.
    """

    def __init__(self, quantity: str, part: str, doc: str, *, sign: float = 1.0):
        super().__init__(lambda solved: solved._probed(self))
        self.quantity, self.part, self.sign, self.__doc__ = quantity, part, sign, doc

    def __set_name__(self, owner: type, name: str):
        super().__set_name__(owner, name)
        owner.probes = (*owner.probes, self)

    def asks(self, solved: "Solved") -> tuple[str, str]:
        """The quantity and the part's name, braces filled."""
        return self.quantity, self.part.format_map(vars(solved))


class Solved:
    """The waveforms of a solved circuit; who inherits has `network`, its `run`, and `steps`, the steps it is sampled in."""

    probes: ClassVar[tuple[probe, ...]] = ()
    network: Network
    run: Run
    steps: int

    def waveform(self, quantity: str, part: str) -> Waveform:
        """The "volts" across or the "amps" through any part of `network`, from 0 s on.

        Errors: ValueError where the network has no such part.
        """
        return self._wave(quantity, self.run.quantities([(quantity, part)], self._seconds)[0])

    def _probed(self, one: probe) -> Waveform:
        return self._wave(one.quantity, one.sign * self._samples[self.probes.index(one)])

    def _wave(self, quantity: str, values: np.ndarray) -> Waveform:
        return self._nothing.with_values(values, quantity[0].upper())

    @cached_property
    def _nothing(self) -> Waveform:
        """Zero at every instant of the record: all waveforms share its instants."""
        return Waveform(self._seconds - self._seconds[0], np.zeros_like(self._seconds))

    @cached_property
    def _seconds(self) -> np.ndarray:
        return self.run.times(self.steps)

    @cached_property
    def _samples(self) -> np.ndarray:
        """What all probes show: solved together, they cost little more than one."""
        return self.run.quantities([one.asks(self) for one in self.probes], self._seconds)
