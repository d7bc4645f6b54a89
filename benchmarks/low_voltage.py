"""Write docs/low-voltage.md from the lines that round_trip and fault_trials kept."""

import json
from pathlib import Path
from typing import Any

from benchmarks.fault_trials import LINES as FAULTS
from benchmarks.round_trip import LINES as TRIPS

TARGET = Path("docs/low-voltage.md")
Rows = list[dict[str, Any]]


def rows(path: Path) -> Rows:
    """The kept lines of a study."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def round_trip(found: Rows) -> list[str]:
    """Coverage of the intervals, and full voltage of fitted against true machines."""
    told = [v for r in found for v in r["values"] if v["told"]]
    inside = sum(v["inside"] for v in told)
    same = sum(r["true"]["verdict"] == r["fitted"]["verdict"] for r in found)
    over = sum(r["true"]["verdict"] == "over_limit" for r in found)
    out = [
        "## Machines nobody knows: `python -m benchmarks.round_trip`",
        "",
        f"{len(found)} machines drawn from the demonstration file's tolerances (seeded), read at "
        "30 V by circuit runs with noise, fitted from the file, then pulled out at full voltage.",
        "",
        f"- True values inside their 95 % intervals: {inside} of {len(told)} "
        f"({inside / len(told):.1%}), values that some reading depends on.",
        f"- Pull-out verdict equal to the true machine's: {same} of {len(found)} "
        f"(true machines over a limit: {over}).",
    ]
    for key, name in (("tank_voltage", "tank voltage"), ("switch_current", "peak switch current")):
        off = sorted(abs(r["fitted"][key] / r["true"][key] - 1.0) for r in found)
        out.append(f"- Full-voltage {name} off by {off[len(off) // 2]:.1%} in the median, "
                   f"{off[-1]:.1%} at most.")  # fmt: skip
    return out


def faults(found: Rows) -> list[str]:
    """How often the true fault was named, and a healthy machine left alone."""
    ill, well = ([r for r in found if bool(r["fault"]) == b] for b in (True, False))
    first = [r for r in ill if r["place"] == 1]
    out = [
        "",
        "## Fault finder: `python -m benchmarks.fault_trials`",
        "",
        "Ten faults on four machines at 30 V with noise, severities and values drawn (seeded); the "
        "machines are known to a third of their files' tolerances, as after a fit.",
        "",
        f"- True fault first among faults: {len(first)} of {len(ill)}; first and called at once "
        f'(not "none of these"): {sum(not r["none_of_these"] for r in first)}.',
        f"- Among the first three: {sum(r['place'] <= 3 for r in ill)} of {len(ill)}.",
        f'- Healthy machines answered with "none of these": '
        f"{sum(r['none_of_these'] for r in well)} of {len(well)}.",
        "",
        *_earlier(found),
        "| machine | first | first three | of |",
        "| --- | --- | --- | --- |",
    ]
    for name in dict.fromkeys(r["machine"] for r in ill):
        mine = [r for r in ill if r["machine"] == name]
        out.append(f"| {name} | {sum(r['place'] == 1 for r in mine)} | "
                   f"{sum(r['place'] <= 3 for r in mine)} | {len(mine)} |")  # fmt: skip
    return out


def _earlier(found: Rows) -> list[str]:
    """What is to be said of trials that were not run again after the last change."""
    old = [r for r in found if r.get("earlier")]
    if not old:
        return []
    names = ", ".join(dict.fromkeys(r["machine"] for r in old))
    said = (
        f"{len(old)} of the {len(found)} trials ({names}) were run before the supply current of "
        "circuit runs was freed of the capacitors' drift, and not again since."
    )
    return [said, ""]


def main() -> None:
    """Write the document."""
    head = [
        "# Low voltage: how well fit and fault finder do",
        "",
        "Made by `python -m benchmarks.low_voltage` from the lines the two studies keep; not "
        "edited by hand. Noise (standard deviations): amplitudes 1.5 %, supply current 0.7 %, "
        "phase 1 degree, resonance 0.15 %.",
        "",
    ]
    text = "\n".join([*head, *round_trip(rows(TRIPS)), *faults(rows(FAULTS))]) + "\n"
    TARGET.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
