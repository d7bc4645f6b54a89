"""The same cases on a dask cluster: the extra `cluster`, workers with simkit in them.

Whoever can reach a scheduler can run anything on its workers; give it an address that only your
own machines reach. A worker must be allowed processes of its own, one for each engine run: start
it with `--no-nanny`, or with DASK_DISTRIBUTED__WORKER__DAEMON=False.
"""

from collections.abc import Callable
from types import TracebackType
from typing import Any

from simkit.errors import InputError, Problem

PATIENCE = 10.0
"""How long a scheduler may take to answer [s]."""


class Cluster:
    """A scheduler's workers; an executor to `pool.collect`.

    A case whose worker is lost goes to another one, as often as the scheduler allows; after that
    it comes back as lost and is given out again by `collect`.
    """

    def __init__(self, address: str) -> None:
        """Connect.

        Errors: InputError when the extra is not installed or nobody answers at the address.
        """
        try:
            from distributed import Client
        except ImportError:
            rule = "needs the extra: in the clone, .venv/bin/pip install -e '.[cluster]'"
            raise InputError([Problem("--scheduler", None, "", address, rule)]) from None
        try:
            make: Any = Client  # not annotated
            self._client: Any = make(address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError) as error:
            rule = f"no scheduler answers there: {error}"
            raise InputError([Problem("--scheduler", None, "", address, rule)]) from None

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Any:
        """Give a case to the cluster; not pure, so that one given out again is worked again."""
        return self._client.submit(fn, *args, pure=False)

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.close()
