"""`python -m tests.robust.table` writes docs/robustness.md from the tests that carry a row."""

import importlib
import sys

from tests.robust.faults import ROOT, ROWS

TARGET = ROOT / "docs" / "robustness.md"
MODULES = ("test_engine_faults", "test_disk_faults", "test_process_faults")
HEAD = """# Robustness: what happens when something fails

Each row is a test; `python -m tests.robust.table` writes this table from them. "Kept" is what is as
it was before, byte for byte. Whatever happens to a run, it never becomes "within the limits
checked": a run that did not come to its end has no verdict.

"""


def document() -> str:
    """The whole document."""
    for name in MODULES:
        importlib.import_module(f"tests.robust.{name}")
    lines = [HEAD]
    for group in ("engine", "disk", "cache", "process"):
        lines.append(f"## {group.capitalize()}\n\n| fault | what happens | kept | test |\n")
        lines.append("| --- | --- | --- | --- |\n")
        rows = sorted((r for r in ROWS if r.group == group), key=lambda r: r.test)
        lines += [f"| {r.fault} | {r.happens} | {r.kept} | `{r.test}` |\n" for r in rows]
        lines.append("\n")
    return "".join(lines).rstrip() + "\n"


def main() -> int:
    """Write the document; with `--check` only compare it."""
    if "--check" in sys.argv[1:]:
        return int(TARGET.read_text("utf-8") != document())
    TARGET.write_text(document(), "utf-8")
    print(f"{TARGET.relative_to(ROOT)}: {len(ROWS)} faults")
    return 0


if __name__ == "__main__":
    sys.exit(main())
