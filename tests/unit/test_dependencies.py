"""The page of dependencies and the locks against pyproject.toml, read here on its own.

What a requirement allows is asked of `packaging`, the reference for version numbers (PEP 440).
"""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = {"base": PROJECT["dependencies"], **PROJECT["optional-dependencies"]}
DECLARED = [(extra, Requirement(line)) for extra, lines in EXTRAS.items() for line in lines]
LOCKED = [r for extra, r in DECLARED if extra in ("base", "dev")]


def table(part: str) -> list[list[str]]:
    """Cells of one generated table, without its head."""
    body = PAGE.partition(f"<!-- {part}: ")[2].partition(f"<!-- end of {part}")[0]
    rows = [line for line in body.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows[2:]]


def lock(name: str) -> dict[str, set[Version]]:
    """Versions by package; more than one where they differ between Pythons."""
    found: dict[str, set[Version]] = {}
    text = (ROOT / ".ci" / f"{name}.txt").read_text(encoding="utf-8")
    for package, version in re.findall(r"^([\w.-]+)==(\S+)", text, re.M):
        found.setdefault(package, set()).add(Version(version))
    return found


def test_the_table_lists_exactly_what_is_declared() -> None:
    rows = {row[0]: set(row[1].split(", ")) for row in table("packages")}
    declared: dict[str, set[str]] = {}
    for extra, requirement in DECLARED:
        declared.setdefault(requirement.name, set()).add(extra)
    assert rows == declared


def test_every_row_says_why_since_when_and_what_else() -> None:
    for name, _, why, weight, month, licence, instead in table("packages"):
        assert len(why) > 5, name
        assert len(instead) > 3, name
        assert licence, name
        assert re.fullmatch(r"\d{4}-\d\d", month), name
        assert re.fullmatch(r"\S+, \d+\.\d|not installed here", weight), name


def test_the_licence_list_has_every_declared_package_that_was_there() -> None:
    listed = {row[0] for row in table("licences")}
    there = {row[0].lower() for row in table("packages") if row[3] != "not installed here"}
    assert there <= listed
    assert len(listed) > len(there), "the dependencies' own dependencies are missing"


@pytest.mark.parametrize("requirement", LOCKED, ids=str)
def test_the_oldest_lock_is_the_lower_bound(requirement: Requirement) -> None:
    (version,) = lock("oldest")[requirement.name.lower()]
    (bound,) = requirement.specifier
    # Packages of types append a date to the version of what they describe.
    release = Version(bound.version).release
    assert version.release[: len(release)] == release
    dated = version.release[-1] > 200_000
    assert dated or not any(version.release[len(release) :])


@pytest.mark.parametrize("requirement", LOCKED, ids=str)
def test_the_newest_lock_is_allowed(requirement: Requirement) -> None:
    oldest = lock("oldest")[requirement.name.lower()]
    for version in lock("newest")[requirement.name.lower()]:
        assert version in requirement.specifier
        assert version >= max(oldest)


@pytest.mark.parametrize("name", ["oldest", "newest"])
def test_a_lock_names_every_file_by_digest(name: str) -> None:
    text = (ROOT / ".ci" / f"{name}.txt").read_text(encoding="utf-8")
    for entry in re.split(r"\n(?=\S)", text.strip()):
        assert re.search(r"--hash=sha256:[0-9a-f]{64}", entry), entry[:80]
