"""What a fit leaves in a machine file beside the fitted values: how sure they are, together."""

from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from simkit.parameters.section import Section, Text

Key = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_.-]+$", max_length=120)]
MOST = 60
"""Parameters a record may have."""
Row = Annotated[tuple[float, ...], Field(max_length=MOST)]


class FitRecord(Section):
    """Joint uncertainty of fitted parameters: natural logarithms, normal distribution.

    `deviation` is the standard deviation of each logarithm, `correlation` the matrix between them.
    """

    parameters: Annotated[tuple[Key, ...], Field(max_length=MOST)]
    deviation: Row
    correlation: Annotated[tuple[Row, ...], Field(max_length=MOST)]
    note: Text = ""

    @model_validator(mode="after")
    def _square(self) -> Self:
        size = len(self.parameters)
        if len(self.deviation) != size or any(not 0.0 <= d <= 3.0 for d in self.deviation):
            raise ValueError("deviation has one number from 0 to 3 for each of parameters")
        if len(self.correlation) != size or any(len(r) != size for r in self.correlation):
            raise ValueError("correlation has one row and one column for each of parameters")
        for k, row in enumerate(self.correlation):
            mirrored = [self.correlation[n][k] for n in range(size)]
            apart = max((abs(a - b) for a, b in zip(row, mirrored, strict=True)), default=0.0)
            if apart > 1e-6 or abs(row[k] - 1.0) > 1e-6 or any(abs(x) > 1.000001 for x in row):
                raise ValueError(
                    "correlation is symmetric, from -1 to 1, with ones on the diagonal"
                )
        return self
