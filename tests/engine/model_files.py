"""Model files of our own writing in the dialects that people exchange, and the parts they go with.

All values are invented; none is of a real part.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simkit.data import scenario_folder
from simkit.parameters.load import Loaded
from simkit.parts.switches import load_part

FOLDER = Path(__file__).parent / "models"
PLANAR, SIC, IGBT = "class-600v-planar", "class-650v-sic", "igbt-600v-40a-fast"
MACHINES = {PLANAR: ("bar-heating", "draw-out"), SIC: ("bar-heating", "draw-out"),
            IGBT: ("tube-bending", "tube-drawn-hot")}  # fmt: skip
"""Machine and scenario that a class is rehearsed in."""


@dataclass(frozen=True)
class Written:
    """A model file, the class whose sheet goes with it, and its pins by key."""

    file: str
    subcircuit: str
    sheet: str
    pins: str
    """KEY=PIN, with spaces between."""

    def part_text(self, file: str | None = None) -> str:
        """The class's part file with the model in it."""
        pins = "\n".join('{} = "{}"'.format(*p.split("=")) for p in self.pins.split())
        sheet = (scenario_folder() / "parts" / f"{self.sheet}.toml").read_text("utf-8")
        head = f'[model]\nfile = "{file or self.file}"\nsubcircuit = "{self.subcircuit}"'
        return f"{sheet}\n{head}\n{pins}\n"


FILES = (
    Written("mos-vdmos.lib", "switch_a", PLANAR, "drain=1 gate=2 source=3"),
    Written("mos-nested.lib", "pkg", PLANAR, "drain=d gate=g source=s"),
    Written("mos-table.lib", "tabular", PLANAR, "drain=drain gate=gate source=source"),
    Written("mos-level1.lib", "old", PLANAR, "drain=10 gate=20 source=30"),
    Written("mos-recovery.lib", "softswitch", PLANAR, "drain=d gate=g source=s driver_return=k"),
    Written("mos-thermal.lib", "warm", PLANAR, "drain=d gate=g source=s junction=tj case=tc"),
    Written("igbt-bipolar.lib", "igbt1", IGBT, "drain=c gate=g source=e"),
    Written("igbt-charge.lib", "igbt_q", IGBT, "drain=c gate=g source=e"),
    Written("igbt-thermal.lib", "hot_igbt", IGBT, "drain=coll gate=gate source=emit junction=junc"),
    Written("sic-kelvin.lib", "sic4", SIC, "drain=d gate=g source=s driver_return=ks"),
    Written("sic-thermal.lib", "sict", SIC,
            "drain=drain gate=gate source=source driver_return=kelvin junction=tj case=tcase"),
    Written("diode-alone.lib", "fastdiode", PLANAR, "anode=a cathode=k"),
)  # fmt: skip


def laid_out(written: Written, folder: Path, text: str | None = None) -> Loaded[Any]:
    """Part file and model file in a folder; another text in place of the model file's."""
    own = text if text is not None else (FOLDER / written.file).read_text("utf-8")
    (folder / written.file).write_text(own, encoding="utf-8")
    (folder / "part.toml").write_text(written.part_text(), encoding="utf-8")
    return load_part(folder / "part.toml")
