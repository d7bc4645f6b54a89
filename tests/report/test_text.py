"""Numbers as the page writes them; what is expected is arithmetic by hand."""

import pytest

from simkit.report.text import percent


@pytest.mark.parametrize(
    ("share", "digits", "said"),
    [
        (1.0, 2, "100 %"),
        (0.996, 2, "100 %"),
        (0.994, 2, "99 %"),
        (0.0363, 2, "3.6 %"),
        (12.3456, 3, "1235 %"),
        (9.994, 3, "999 %"),
        (-1.2, 2, "\u2212120 %"),
        (0.0, 2, "0 %"),
        (None, 2, "\u2013"),
    ],
)
def test_a_share_is_never_written_with_a_power_of_ten(
    share: float | None, digits: int, said: str
) -> None:
    assert percent(share, digits) == said
