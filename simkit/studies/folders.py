"""A folder of results that appears whole or not at all."""

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from simkit.studies.results import swap


def whole_folder(folder: Path, fill: Callable[[Path], None]) -> Path:
    """Fill a fresh folder and put it in the place of an older one, which goes only then."""
    folder = folder.absolute()
    folder.parent.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        fill(fresh)
        fresh.chmod(0o755)
        swap(fresh, folder)
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    return folder
