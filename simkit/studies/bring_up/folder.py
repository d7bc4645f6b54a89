"""What `simkit bring-up` leaves: the sheet, its figures as JSON, readings files to fill in."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.studies.bring_up.page import sheet_page
from simkit.studies.bring_up.readings import readings_text, table_text
from simkit.studies.bring_up.sheet import sheet
from simkit.studies.bring_up.study import BringUpResult
from simkit.studies.output.folder import dumped, whole_folder


def write_sheet(
    folder: Path, result: BringUpResult, machine: Loaded[Machine], found: Mapping[str, Any]
) -> Path:
    """Write a bring-up into a folder that appears whole or not at all."""

    def fill(fresh: Path) -> None:
        page = sheet_page(sheet(result, machine))
        (fresh / "index.html").write_text(page, encoding="utf-8")
        (fresh / "sheet.json").write_text(dumped(found), encoding="utf-8")
        readings = readings_text(result, str(machine.file))
        (fresh / "readings.toml").write_text(readings, encoding="utf-8")
        (fresh / "readings.csv").write_text(table_text(result), encoding="utf-8")

    return whole_folder(folder, fill)
