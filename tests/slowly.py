"""Cases of a parametrised test: the first run always, or with --all, the rest more seldom."""

from collections.abc import Iterable
from typing import Any

import pytest


def first_quick(cases: Iterable[Any], quick: int = 1) -> list[Any]:
    """The cases, all but the first few marked slow; a case of several values is a tuple, one whose
    only value is a tuple a tuple of that."""
    return _marked(cases, quick, pytest.mark.slow)


def rest_studied(cases: Iterable[Any], slow: int = 1) -> list[Any]:
    """The cases of a slow test, all but the first few marked a study: more of the same kind."""
    return _marked(cases, slow, pytest.mark.study)


def _marked(cases: Iterable[Any], bare: int, mark: pytest.MarkDecorator) -> list[Any]:
    return [
        pytest.param(
            *(case if isinstance(case, tuple) else (case,)), marks=() if k < bare else mark
        )
        for k, case in enumerate(cases)
    ]
