"""The clause that a verdict gets from the machine's tolerances."""

from simkit.figures.table import full_name
from simkit.result.tolerance import Tolerance


def sentence(verdict: str, found: Tolerance) -> str:
    """What share of the machines is over a limit, of which figure, and what moves it."""
    whose = "the usual tolerances of each value's source (the file states none)"
    whose = whose if found.assumed else "your tolerances"
    return (
        f"of {found.draws} machines drawn with {whose} {_how_many(verdict, found)}"
        f"{_most(verdict, found)}{_unknown(found)}"
    )


def _how_many(verdict: str, found: Tolerance) -> str:
    share, limits = found.share_over or 0.0, f"{found.followed} limits that the fast model follows"
    if share in (0.0, 1.0):
        return f"{'all are' if share else 'none is'} over one of the {limits}"
    if verdict == "over_limit":
        within = 1.0 - share - (found.share_unknown or 0.0)
        return f"{_percent(within)} are within the {limits}"
    return f"{_percent(share)} are over one of the {limits}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share < 0.995 else "more than 99 %"


def _most(verdict: str, found: Tolerance) -> str:
    if not found.share_over or found.worst is None:
        return ""
    moved = "moved most by" if verdict == "over_limit" else "most by"
    by = f", {moved} {found.drivers[0].key}" if found.drivers else ""
    return f"{by} ({full_name(found.worst.quantity)})"


def _unknown(found: Tolerance) -> str:
    if not found.share_unknown:
        return ""
    return f", and of {_percent(found.share_unknown)} the fast model cannot tell"
