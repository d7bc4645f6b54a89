"""How the pages in this folder become a site: `./run docs` builds it into build/docs."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
sys.path.insert(0, str(HERE.parent))

from pages import write_pages  # noqa: E402 - the same
from sphinx.application import Sphinx  # noqa: E402 - beside the others

import simkit  # noqa: E402 - after the path is set

write_pages(HERE)

project = "simkit"
author = "The simkit maintainers"
project_copyright = author
version = release = simkit.__version__
# Reads Markdown through myst_parser, and runs the notebooks anew at every build: one that fails
# stops it.
extensions = ["myst_nb"]
nb_execution_mode = "force"
nb_execution_raise_on_error = True
nb_execution_timeout = 300
myst_enable_extensions = ["dollarmath"]
html_math_renderer = "mathml"
html_theme = "furo"
html_title = "simkit"
# Nothing is fetched when a page is read, and the sources stay in the clone.
html_copy_source = False
html_show_sphinx = False
# Links to headings, as in "validation.md#coil"; two heading levels of each page may be linked to.
myst_heading_anchors = 3
# README and developers' notes stand outside this folder and are read where they are.
exclude_patterns = ["_build"]

ROOM = "overflow-x: auto; overflow-y: hidden; padding: 0.7em 0; text-align: center"
"""Around a formula: none is cut, and a narrow screen scrolls within it."""


def as_mathml(translator, node, display: str) -> None:
    """Put a formula on the page as MathML, which browsers draw themselves: no script, no network.

    Formulas are written in LaTeX's notation; what the converter does not know stops the build.
    """
    from docutils.nodes import SkipNode
    from latex2mathml.converter import convert

    formula = convert(node.astext(), display=display)
    block = f'<div style="{ROOM}">{{}}</div>' if display == "block" else "{}"
    translator.body.append(block.format(formula))
    raise SkipNode


def setup(app: Sphinx) -> None:
    """Let Sphinx draw formulas as above."""
    app.add_html_math_renderer(
        "mathml",
        (lambda translator, node: as_mathml(translator, node, "inline"), None),
        (lambda translator, node: as_mathml(translator, node, "block"), None),
    )
