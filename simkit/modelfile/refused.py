"""How a statement of a model file is refused."""

from dataclasses import dataclass

from simkit.errors import InputError, Problem


@dataclass(frozen=True)
class Place:
    """A statement of a model file."""

    file: str
    line: int
    """Its first line [1]."""

    def refuse(self, what: str, rule: str, hint: str = "") -> InputError:
        """The error for a word or a construct here; raised by the caller."""
        return InputError([Problem(self.file, self.line, "", shortened(what), rule, hint)])


def shortened(text: str) -> str:
    """What was written, in a length that a message can hold."""
    return text if len(text) <= 60 else f"{text[:57]}..."
