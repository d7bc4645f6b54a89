"""Cases of a parametrised test of which the first run always and the rest with --all."""

from collections.abc import Iterable
from typing import Any

import pytest


def first_quick(cases: Iterable[Any], quick: int = 1) -> list[Any]:
    """The cases, all but the first few marked slow; a case of several values is a tuple, one whose
    only value is a tuple a tuple of that."""
    return [
        pytest.param(
            *(case if isinstance(case, tuple) else (case,)),
            marks=() if k < quick else pytest.mark.slow,
        )
        for k, case in enumerate(cases)
    ]
