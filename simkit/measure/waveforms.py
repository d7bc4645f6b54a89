"""Waveforms of one run, named as a person would probe the machine.

Sign conventions: the primary current flows out of bridge node a into the transformer; a drain
current flows into the drain lead; a body-diode current flows forward, from source to drain; the
coil current flows from the bank into the coil. All arrays share the axis `time`, in seconds since
the start of the settled part.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.machine import Machine

Array = NDArray[np.float64]
SENSE = 1e-3
"""Resistor in each drain lead across which the current is read [ohm]."""


@dataclass(frozen=True)
class SwitchWaves:
    """One switch, seen at the chip but for the drain current, which flows in the lead."""

    number: int
    drain_source: Array
    """At the chip, inside the package inductances [V]."""
    gate_source: Array
    """At the chip, inside the internal gate resistor [V]."""
    drain_current: Array
    """Into the drain lead: channel, body diode and output capacitance together [A]."""
    channel_current: Array
    """Through the channel; of an IGBT its collector current without capacitances and diode [A]."""
    diode_current: Array
    """Forward positive; negative while it recovers [A]."""
    lead_voltage: Array
    """Drain lead to source lead, package inductances included [V]."""


@dataclass(frozen=True)
class Waves:
    """All waveforms of a run on one machine."""

    machine: Machine
    time: Array
    """[s]"""
    raw: Mapping[str, Array]
    """Engine vectors by saved name, on the same axis."""
    lost_cans: int = 0
    """Cans of the bank that a fault of this run opens: they are a branch of their own."""

    @classmethod
    def from_vectors(
        cls, machine: Machine, vectors: Mapping[str, Array], origin: float, lost_cans: int = 0
    ) -> "Waves":
        """Waveforms of a run whose engine clock started at `origin` [s]."""
        raw = {name: np.asarray(values) for name, values in vectors.items() if name != "time"}
        return cls(machine, vectors["time"] + origin, raw, lost_cans)

    def between(self, start: float, end: float) -> "Waves":
        """The part from start to end [s], samples inside only."""
        first, last = np.searchsorted(self.time, (start, end), side="left")
        keep = slice(int(first), int(last))
        return replace(
            self, time=self.time[keep], raw={name: v[keep] for name, v in self.raw.items()}
        )

    def node(self, name: str) -> Array:
        """Voltage of a node against the negative rail [V]."""
        if name == "0":
            return np.zeros_like(self.time)
        return self.raw[f"v({name})"]

    def across(self, plus: str, minus: str, resistance: float) -> Array:
        """Current from plus to minus through a resistor of the deck [A]."""
        return (self.node(plus) - self.node(minus)) / resistance

    @cached_property
    def switches(self) -> tuple[SwitchWaves, ...]:
        """The bridge's switches in order."""
        count = self.machine.bridge.switches
        return tuple(self._switch(number) for number in range(1, count + 1))

    def _switch(self, number: int) -> SwitchWaves:
        drain, source = {1: ("p", "a"), 2: ("a", "0"), 3: ("p", "b"), 4: ("b", "0")}[number]
        inner = f"xq{number}."
        di, si = self.node(inner + "di"), self.node(inner + "si")
        return SwitchWaves(
            number=number,
            drain_source=di - si,
            gate_source=self.node(inner + "gi") - si,
            drain_current=self.across(drain, f"d{number}", SENSE),
            channel_current=self._channel_current(number, inner),
            diode_current=(si - self.node(inner + "da"))
            / self.machine.switch.diode.series_resistance,
            lead_voltage=self.node(f"d{number}") - self.node(source),
        )

    def _channel_current(self, number: int, inner: str) -> Array:
        """Of an IGBT what the channel feeds and what flows off as bipolar current, together [A].

        Of a switch by model file the lead's current while its gate is above half of the threshold.
        """
        if self.machine.switch.foreign:
            gate = self.node(inner + "gi") - self.node(inner + "si")
            lead = (self.node(f"d{number}") - self.node(inner + "di")) / SENSE
            on = gate > 0.5 * self.machine.switch.channel.threshold
            return np.where(on, np.maximum(lead, 0.0), 0.0)
        channel = self.raw[f"@m.xq{number}.m1[id]"]
        if self.machine.switch.bipolar is None:
            return channel
        return channel + self.across(inner + "dj", inner + "db", SENSE)

    @cached_property
    def bridge_voltage(self) -> Array:
        """Node a against the other end of the primary [V]."""
        return self.node("a") - self.node("b")

    @cached_property
    def primary_current(self) -> Array:
        """[A]"""
        before = "pa" if self.machine.transformer.blocking_capacitance is not None else "a"
        return self.across(before, "pb", self.machine.transformer.primary_resistance)

    @cached_property
    def load_current(self) -> Array:
        """Out of the secondary [A]."""
        return self.across("s1", "s2", self.machine.transformer.secondary_resistance)

    @cached_property
    def magnetising_current(self) -> Array:
        """Primary current less the load's share [A]."""
        return self.primary_current - self.load_current / self.machine.transformer.ratio

    @cached_property
    def linkage(self) -> Array:
        """Flux linkage of the primary: from the circuit where the core saturates there [Wb]."""
        if self.machine.transformer.core_path is not None:
            return self.node("lam") * 1e-6
        return self.magnetising_current * self.machine.transformer.magnetising_inductance

    @cached_property
    def coil_inductance(self) -> Array:
        """[H]"""
        return self.node("lx") * 1e-6

    @cached_property
    def coil_resistance(self) -> Array:
        """[ohm]"""
        return self.node("rx") * 1e-3

    @cached_property
    def coil_current(self) -> Array:
        """Flux linkage over inductance [A]."""
        return self.node("fl") / self.node("lx")

    @cached_property
    def bank_voltage(self) -> Array:
        """Across the capacitor bank's ends, its series resistance included [V]."""
        return self.node("w") - (self.node("s2") if self._loop_fed else 0.0)

    @property
    def cans_left(self) -> int:
        """Cans that stay connected throughout [1]."""
        return self.machine.tank.cans - self.lost_cans

    @cached_property
    def left_current(self) -> Array:
        """Through the cans that stay connected, all together [A]."""
        esr = self.machine.tank.can_esr / self.cans_left
        return self.across("t1", "w" if self._loop_fed else "0", esr)

    @cached_property
    def lost_current(self) -> Array:
        """Through the cans that a fault opens, all together [A]."""
        if not self.lost_cans:
            return np.zeros_like(self.time)
        return self.across("tf", "tg", self.machine.tank.can_esr / self.lost_cans)

    @cached_property
    def bank_current(self) -> Array:
        """Through the capacitor bank [A]."""
        return self.left_current + self.lost_current

    @cached_property
    def coil_voltage(self) -> Array:
        """Across the coil's ends [V]."""
        return self.node("w")

    @cached_property
    def supply_current(self) -> Array:
        """Out of the source [A]; a fuse lies behind the source's resistance."""
        behind = "slk" if "v(slk)" in self.raw else "link"
        return self.across("sup", behind, self.machine.supply.source_resistance)

    @cached_property
    def link_voltage(self) -> Array:
        """At the bridge's rails [V]."""
        return self.node("p")

    @property
    def _loop_fed(self) -> bool:
        return self.machine.tank.feed == "loop"


def integral(time: Array, values: Array) -> float:
    """Integral over the axis by the trapezoidal rule; nought over less than two samples."""
    return float(np.trapezoid(values, time))


def average(time: Array, values: Array) -> float:
    """Time average."""
    return integral(time, values) / float(time[-1] - time[0])


def rms(time: Array, values: Array) -> float:
    """Root of the time average of the square."""
    return float(np.sqrt(average(time, values * values)))


def value_at(time: Array, values: Array, when: float) -> float:
    """Value at a time, linear between samples."""
    return float(np.interp(when, time, values))
