"""Half Cycle: synthetic 24 VAC waveforms, instruments and benches for the course.

Names load on first use, so that a notebook starts quickly: ``from halfcycle import Supply, rectify, meters``.
"""

from importlib import import_module

__all__ = [
    "Diode",
    "Oscilloscope",
    "Supply",
    "Waveform",
    "Wire",
    "meters",
    "read_capture",
    "rectify",
    "spike_bus",
    "steer",
]

_HOMES = {
    "Diode": "network",
    "Oscilloscope": "oscilloscope",
    "Supply": "supply",
    "Waveform": "waveforms",
    "Wire": "wire",
    "meters": "instruments",
    "read_capture": "captures",
    "rectify": "rectifier",
    "spike_bus": "spikes",
    "steer": "steering",
}


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = import_module(f".{_HOMES[name]}", __name__)
    return module if name == "meters" else getattr(module, name)
