"""Every hostile model file to the engine, if it gets there.

`python -m tests.robust.modelfiles_run` in a folder that holds one for each file, with a part beside
it. What the reader takes is run as the bench runs a part; one JSON document tells which files were
refused and which decks went out.
"""

import json
import sys
from pathlib import Path

from simkit.circuit import bench_decks
from simkit.errors import SimkitError
from simkit.parts.modelled import with_model
from simkit.parts.switches import load_part, switch_of
from simkit.run.backend import Budget
from simkit.run.process import NgspiceEngine


def main() -> None:
    """Each part in its turn."""
    done: dict[str, dict[str, str]] = {}
    for folder in sorted(p for p in Path().iterdir() if p.is_dir()):
        print(f"now {folder.name}", file=sys.stderr, flush=True)
        try:
            part = load_part(folder / "part.toml")
            switch = with_model(part, switch_of(part.model), 25.0)
        except SimkitError as error:
            done[folder.name] = {"refused": str(error)}
            continue
        deck = bench_decks.output_deck(switch, (10.0,), 2.0, 10.0)
        try:
            NgspiceEngine().run(deck.text, deck.saved, deck.stop, Budget(wall=5.0, cpu=5.0))
            done[folder.name] = {"deck": deck.text}
        except SimkitError as error:
            done[folder.name] = {"deck": deck.text, "stopped": str(error)}
    print(json.dumps(done))


if __name__ == "__main__":
    main()
