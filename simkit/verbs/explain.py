"""`simkit explain`: what a quantity, a field or a term is, and what to do about it."""

import json
from typing import TYPE_CHECKING

import click

from simkit.verbs.common import json_option

if TYPE_CHECKING:
    from simkit.studies.explain.study import Explanation

WIDTH = 88


@click.command("explain")
@click.argument("quantity", nargs=-1, shell_complete=lambda c, p, typed: _beginning(typed))
@json_option
def command(quantity: tuple[str, ...], as_json: bool) -> int:
    """What QUANTITY is, why it kills, how it is computed, where to see it, what to change.

    QUANTITY is a judged quantity, a key of a machine or scenario file, a mode, a term of the
    trade, or a material. Without one, all names are listed.
    """
    from dataclasses import asdict

    from simkit.studies.explain.study import explained, names

    if not quantity:
        listed = names()
        print(json.dumps(listed, indent=1) if as_json else _list(listed))
        return 0
    found = explained(" ".join(quantity))
    print(json.dumps(asdict(found), indent=1) if as_json else _text(found))
    return 0


def _beginning(typed: str) -> list[str]:
    """Names that begin with what was typed, for the shell."""
    from simkit.studies.explain.study import names

    return [name for kind in names().values() for name in kind if name.startswith(typed)]


def _text(found: "Explanation") -> str:
    from textwrap import fill

    width = max(len(label) for label, _ in found.lines) + 2
    out = [f"{found.title} ({found.kind}: {found.name})", ""]
    for label, text in found.lines:
        indent = " " * (width + 2)
        lead = f"  {label:{width}}"
        out.append(fill(text, WIDTH, initial_indent=lead, subsequent_indent=indent,
                        break_long_words=False, break_on_hyphens=False))  # fmt: skip
    if found.see:
        out += ["", fill(f"See also: {', '.join(found.see)}", WIDTH, subsequent_indent="  ",
                         break_long_words=False, break_on_hyphens=False)]  # fmt: skip
    return "\n".join(out)


def _list(listed: dict[str, tuple[str, ...]]) -> str:
    from textwrap import fill

    heads = {
        "quantity": "Judged quantities",
        "term": "Terms and modes",
        "field": "Keys of files",
        "material": "Materials",
    }
    blocks = []
    for kind, found in listed.items():
        text = fill("  ".join(found), WIDTH, initial_indent="  ", subsequent_indent="  ",
                    break_long_words=False, break_on_hyphens=False)  # fmt: skip
        blocks.append(f"{heads[kind]}\n{text}")
    return "\n\n".join(blocks) + "\n\nsimkit explain NAME says what one is."
