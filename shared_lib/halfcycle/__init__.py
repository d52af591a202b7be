"""Half Cycle: synthetic 24 VAC waveforms, instruments and benches for the course."""
