"""The folder sets the marker; slow tests run only when all are asked for."""

from pathlib import Path

import pytest

HERE = Path(__file__).parent
FOLDERS = ("unit", "decks", "engine", "reference", "report")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--all", action="store_true", help="run the slow tests too")
    parser.addoption(
        "--renew", action="store_true", help="write the stored decks anew instead of comparing"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    skip = pytest.mark.skip(reason="slow: runs with --all")
    for item in items:
        folder = item.path.relative_to(HERE).parts[0]
        if folder not in FOLDERS:
            raise pytest.UsageError(f"{item.path} is in none of tests/{{{','.join(FOLDERS)}}}")
        item.add_marker(folder)
        if "slow" in item.keywords and not config.getoption("--all"):
            item.add_marker(skip)
