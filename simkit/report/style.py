"""Colours and line styles shared by figures and page: the palette of Okabe and Ito.

Figures are drawn in the light colours. Where a figure stands in a page, each colour is replaced
by the page's variable of the same meaning, so that one figure serves light, dark and print.
"""

import os
import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

TEMPLATES = Path(__file__).parent / "templates"
"""Where the pages' templates, styles and scripts lie."""

INK, MUTED, GRID, PAPER = "#1d1b16", "#68635a", "#d8d2c4", "#fffdf8"
BLUE, RED, GREEN, PURPLE, ORANGE, SKY = (
    "#0072b2", "#d55e00", "#009e73", "#b0508c", "#e69f00", "#56b4e9",
)  # fmt: skip
VARIABLES = {
    INK: "--ink", MUTED: "--muted", GRID: "--grid", PAPER: "--paper", BLUE: "--blue",
    RED: "--red", GREEN: "--green", PURPLE: "--purple", ORANGE: "--orange", SKY: "--sky",
}  # fmt: skip
CYCLE = (
    (BLUE, "-"),
    (RED, (0, (5, 1.6))),
    (GREEN, (0, (1.4, 1.2))),
    (PURPLE, (0, (6, 1.5, 1.2, 1.5))),
)
"""Colour and dashes of the curves of one panel: told apart without colour too."""
MODES = {"inductive": (BLUE, ""), "resonant": (ORANGE, "//"), "capacitive": (RED, "xx")}
"""Colour and hatch of each mode."""


HERE = Path(__file__).parent
"""Nobody puts a settings file beside this module."""


def library() -> None:
    """Bring in the figures' library, from a folder without a settings file.

    On its first import it opens a `matplotlibrc` of the current folder, whatever that is: a pipe
    would hold it for ever. Whatever imports it here calls this first.
    """
    if "matplotlib" in sys.modules:
        return
    try:
        back = os.open(".", getattr(os, "O_PATH", os.O_RDONLY))
    except OSError:  # the folder is gone, and what was in it too
        return
    try:
        os.chdir(HERE)
        import matplotlib  # noqa: F401 - for what its import reads
    finally:
        os.fchdir(back)
        os.close(back)


@contextmanager
def drawing(settings: Mapping[str, Any]) -> Iterator[None]:
    """While figures are drawn: these settings on top of the library's own, and nobody else's.

    Settings found elsewhere could restyle the figures, or have their texts set by a program.
    """
    library()
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams["text.parse_math"] = False  # a title is no formula, whatever it holds
        matplotlib.rcParams.update(cast(Any, settings))  # the stub wants literal keys
        yield


def themed(svg: str, prefix: str) -> str:
    """An SVG document as an element of a page: no prologue, own ids, colours by variable."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\s(xmlns(:\w+)?|version)="[^"]*"', "", svg)
    svg = svg.replace("xlink:href", "href")
    svg = re.sub(r'\bid="', f'id="{prefix}-', svg)
    svg = re.sub(r'href="#', f'href="#{prefix}-', svg)
    svg = re.sub(r"url\(#", f"url(#{prefix}-", svg)
    for colour, variable in VARIABLES.items():
        svg = re.sub(colour, f"var({variable})", svg, flags=re.IGNORECASE)
    head, rest = svg.split(">", 1)
    head = re.sub(r'\s(width|height)="[^"]*"', "", head)
    return f'{head} aria-hidden="true" focusable="false">{rest}'
