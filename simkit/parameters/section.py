"""What every table of a file a person writes is made of."""

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, StringConstraints

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
Text = Annotated[str, StringConstraints(max_length=400)]


def titled(raw: Any, name: Any = None) -> Any:
    """A table as written, its name in the place of a title that nobody gave."""
    if not isinstance(raw, dict) or raw.get("title"):
        return raw
    name = raw.get("name") if name is None else name
    return raw | {"title": name.replace("-", " ")} if isinstance(name, str) else raw


class Section(BaseModel):
    """A table of the machine file: closed (unknown names are refused) and frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
