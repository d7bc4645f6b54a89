"""No word that the tool can print promises more than was checked; promises.toml lists them."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
LIST = tomllib.loads((Path(__file__).parent / "promises.toml").read_text(encoding="utf-8"))
PATTERNS = [re.compile(one["pattern"], re.I) for one in LIST["promise"]]
EXAMPLES = [text for one in LIST["promise"] for text in one["examples"]]
TEMPLATE_FILTER = re.compile(r"\|\s*safe\b")
TEXTS = (".j2", ".js", ".html", ".css", ".toml", ".md", ".ipynb")
FOLDERS = ("simkit", "scenarios", "netlists", "docs", "benchmarks")
SINGLE = ("README.md", "CHANGELOG.md", "DEVELOPERS.md", "pyproject.toml", "run",
          "reports/README.md")  # fmt: skip
ABOUT_FILES = "words about files and programs, not about heaters"
ALLOWED = {
    ("simkit/run/messages.py", "harmless"): ABOUT_FILES,
    ("docs/pains.md", "harmless"): ABOUT_FILES,
    ("docs/fuzzing.md", "harmless"): ABOUT_FILES,
}
"""File and word, with the reason why it promises nothing."""


def promises(text: str) -> list[str]:
    """Every promise in a text, in its own words."""
    for term in LIST["term"]:
        text = re.sub(re.escape(term), "", text, flags=re.I)
    text = re.sub(r"\s+", " ", TEMPLATE_FILTER.sub("", text))
    return [found[0].lower() for pattern in PATTERNS for found in pattern.finditer(text)]


def spoken(source: str) -> Iterator[str]:
    """Every text constant of a module, docstrings too: all may reach a person's eyes."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def files(root: Path) -> list[Path]:
    """Every file whose words may be read by a person."""
    inside = [p for folder in FOLDERS for p in (root / folder).rglob("*") if p.is_file()]
    return [root / name for name in SINGLE] + [
        p for p in inside if p.suffix in (*TEXTS, ".py") and "__pycache__" not in p.parts
    ]


def found_in(root: Path) -> dict[str, list[str]]:
    """Files with the promises in them."""
    found = {}
    for path in files(root):
        if not path.is_file():
            continue
        text = path.read_text(encoding="utf-8")
        parts = spoken(text) if path.suffix == ".py" else (text,)
        name = path.relative_to(root).as_posix()
        left = [p for part in parts for p in promises(part) if (name, p) not in ALLOWED]
        if left:
            found[name] = left
    return found


def test_no_text_promises_more_than_was_checked() -> None:
    assert found_in(ROOT) == {}


def test_every_kind_of_text_is_read() -> None:
    read = {p.relative_to(ROOT).as_posix() for p in files(ROOT)}
    for name in ("simkit/report/templates/sheet.html.j2", "simkit/live/page/bench.html",
                 "simkit/live/page/bench.js", "simkit/studies/explain/glossary.toml",
                 "docs/tutorial.md",
                 "simkit/studies/bring_up/words.py", "scenarios/copper-casting/machine.toml",
                 "netlists/bridge.cir.j2", "README.md"):  # fmt: skip
        assert name in read


@pytest.mark.parametrize("text", EXAMPLES)
def test_a_promise_is_seen(text: str) -> None:
    assert promises(f"As computed here {text} today.") != []


@pytest.mark.parametrize(
    "text",
    ["the safe operating area", "{{ svg | safe }}", "safety earth", "within the limits checked",
     "default-src 'none'; style-src 'unsafe-inline'"],
)  # fmt: skip
def test_a_term_of_the_trade_is_no_promise(text: str) -> None:
    assert promises(text) == []


def written(name: str, promise: str) -> str:
    """A file with the promise in it, in the way of its kind."""
    return f'"""A verb."""\nSAID = "x", f"{{1}} {promise}"\n' if name.endswith(".py") else promise


@pytest.mark.parametrize("promise", ["will survive", "OK to power", "guaranteed", "without harm"])
@pytest.mark.parametrize(
    "name",
    ["simkit/report/templates/a.html.j2", "simkit/verbs/a.py", "simkit/live/page/a.js",
     "scenarios/a/machine.toml", "simkit/judge/a.toml", "docs/a.md"],
)  # fmt: skip
def test_a_promise_put_into_any_kind_of_file_is_found(
    name: str, promise: str, tmp_path: Path
) -> None:
    for one in (name, "docs/other.md"):
        (tmp_path / one).parent.mkdir(parents=True, exist_ok=True)
    (tmp_path / name).write_text(written(name, f"the bridge {promise}"), encoding="utf-8")
    (tmp_path / "docs/other.md").write_text("Within the limits checked.", encoding="utf-8")
    assert list(found_in(tmp_path)) == [name]


def test_every_exception_is_still_needed() -> None:
    for (name, word), _ in ALLOWED.items():
        text: Any = (ROOT / name).read_text(encoding="utf-8")
        assert word in promises(text), (name, word)
