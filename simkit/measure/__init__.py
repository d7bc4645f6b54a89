"""Waveforms are measured: each quantity defined, then taken, in its own module."""
