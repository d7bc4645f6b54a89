"""How the pages in this folder become a site: `./run docs` builds it into build/docs."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
sys.path.insert(0, str(HERE.parent))

from pages import write_pages  # noqa: E402 - the same

import simkit  # noqa: E402 - after the path is set

write_pages(HERE)

project = "simkit"
author = "The simkit maintainers"
project_copyright = author
version = release = simkit.__version__
extensions = ["myst_parser"]
html_theme = "furo"
html_title = "simkit"
# Nothing is fetched when a page is read, and the sources stay in the clone.
html_copy_source = False
html_show_sphinx = False
# Links to headings, as in "validation.md#coil"; two heading levels of each page may be linked to.
myst_heading_anchors = 3
# README and developers' notes stand outside this folder and are read where they are.
exclude_patterns = ["_build"]
