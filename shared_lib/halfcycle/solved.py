"""A solved circuit and its probes: what every circuit of the course hands back."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .network import Network, Run
from .waveforms import Waveform, waves


class probe(cached_property):
    """A waveform of a solved circuit, times `sign`: the volts across a part or the amps through it.

    Its own name ends in which of the two. In the part's name, braces stand for a field of the circuit's solution.
    """

    def __init__(self, part: str, doc: str, *, sign: float = 1.0):
        super().__init__(lambda solved: solved._probed[self])
        self.part, self.sign, self.__doc__ = part, sign, doc

    def __set_name__(self, owner: type, name: str):
        super().__set_name__(owner, name)
        owner.probes = (*owner.probes, self)


class Solved:
    """The waveforms of a solved circuit; who inherits has the fields of `Steady`."""

    probes: tuple[probe, ...] = ()

    @property
    def steps(self) -> int:
        """The equal steps in which the run is sampled."""
        return max(1, round(self.samples_per_cycle * self.hertz * (self.run.end - self.run.begin)))

    def waveform(self, quantity: str, part: str) -> Waveform:
        """The "volts" across or the "amps" through any part of `network`, from 0 s on.

        Errors: ValueError where the network has no such part.
        """
        return self._waves([(quantity, part)], [1.0])[0]

    @cached_property
    def _probed(self) -> dict[probe, Waveform]:
        """What all probes show: solved together, they cost little more than one."""
        wanted = [(one.attrname.rpartition("_")[2], one.part.format_map(vars(self))) for one in self.probes]
        return dict(zip(self.probes, self._waves(wanted, [one.sign for one in self.probes]), strict=True))

    def _waves(self, wanted: list[tuple[str, str]], signs: list[float]) -> list[Waveform]:
        rows = np.array(signs)[:, None] * self.run.quantities(wanted, self._seconds)
        return waves(self._seconds - self._seconds[0], rows, [quantity[0].upper() for quantity, _ in wanted])

    @cached_property
    def _seconds(self) -> np.ndarray:
        return self.run.times(self.steps)


@dataclass(frozen=True)
class Steady(Solved):
    """A circuit solved over its periodic steady state; the frequency of its supply, Hz, and the samples in a period."""

    network: Network
    run: Run
    hertz: float
    samples_per_cycle: int
