"""The folder sets the marker; slow tests run only when all are asked for, studies by themselves."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.once import shared_by_all

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, and for its reason

HERE = Path(__file__).parent
FOLDERS = ("unit", "decks", "engine", "reference", "measured", "report", "robust")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--all", action="store_true", help="run the slow tests too")
    parser.addoption(
        "--studies", action="store_true", help="run the studies too: benchmarks/studies.py"
    )
    parser.addoption(
        "--renew", action="store_true", help="write the stored decks anew instead of comparing"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    skip = pytest.mark.skip(reason="slow: runs with --all")
    longer = pytest.mark.skip(reason="a study: runs with --studies")
    for item in items:
        folder = item.path.relative_to(HERE).parts[0]
        if folder not in FOLDERS:
            raise pytest.UsageError(f"{item.path} is in none of tests/{{{','.join(FOLDERS)}}}")
        item.add_marker(folder)
        if item.get_closest_marker("study"):
            if not config.getoption("--studies"):
                item.add_marker(longer)
        elif item.get_closest_marker("slow") and not config.getoption("--all"):
            item.add_marker(skip)


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test reads or fills the cache of whoever runs the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SIMKIT_CACHE_DIR", str(tmp_path_factory.mktemp("session-cache")))
        yield


@pytest.fixture(autouse=True)
def _empty_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test finds what another left; what is shared by a module shares a cache."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SIMKIT_CACHE_DIR", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture
def kept_by_all(
    _empty_cache: None,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One cache for every test that asks for it, whichever worker runs it: for tests of what a
    verb says and writes, where another has already worked the same figures out."""
    monkeypatch.setenv("SIMKIT_CACHE_DIR", str(shared_by_all(tmp_path_factory) / "kept-by-all"))
