"""Every page's template compiles where it is rendered: a filter that is missing stops a verb.

Outside: the template engine's own compiler.
"""

import pytest

from simkit.report.html import _environment as of_runs
from simkit.report.style import TEMPLATES
from simkit.studies.bring_up.page import environment as of_sheets

SHEETS = ("sheet.html.j2", "fit.html.j2", "parts.html.j2")
RUNS = sorted(p.name for p in TEMPLATES.glob("*.j2") if p.name not in SHEETS)


@pytest.mark.parametrize("name", RUNS)
def test_pages_of_runs_compile(name: str) -> None:
    assert of_runs().get_template(name).name == name


@pytest.mark.parametrize("name", SHEETS)
def test_sheets_compile_with_the_parts_they_share(name: str) -> None:
    assert of_sheets().get_template(name).name == name
