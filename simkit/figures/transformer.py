"""The matching transformer."""

from simkit.figures.record import Fast, Figure, Words, rated
from simkit.parameters.machine import Machine


def _per_ampere(machine: Machine) -> float:
    """Flux density over magnetising current [T/A]: L_m/(N_1 A_core)."""
    core = machine.transformer
    return core.magnetising_inductance / (core.primary_turns * core.core_area)


FIGURES = (
    Figure(
        name="flux_peak",
        part="matching transformer",
        unit="T",
        words=Words(
            title="flux density",
            what="The highest flux density in the core of the matching transformer.",
            why="A saturated core is a short circuit for the bridge.",
            how="Magnetising inductance times current over turns and core area.",
            formula="B = L_m x i_m / (N_1 x A_core); for a square wave about V/(4 f N_1 A_core)",
            scope="Primary current with the tank open: triangles are well, spikes at their tips"
            " are not.",
            change="More primary turns, a larger core, equal on-times, a blocking capacitor.",
            moved_by=("transformer.primary_turns", "transformer.core_area", "drive.frequency_min"),
        ),
        place="simkit/measure/tank.py",
        limit=lambda m: rated(
            m.transformer.saturation_flux, m.limits.derating.flux, "transformer.saturation_flux"
        ),
        fast=Fast(
            course=lambda e: e.cycles.magnetising_current_peak * _per_ampere(e.machine),
            point=lambda _, p: p.flux_peak,
        ),
        remembers="core",
    ),
)
