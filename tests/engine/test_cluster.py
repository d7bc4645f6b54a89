"""A map on a dask cluster of this machine's own, with a worker lost in the middle of it."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path

import pytest

from simkit.parameters.varying import MapPlan, parse_vary
from simkit.run.cache import Store
from simkit.run.cluster import Cluster
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps.space import space_of
from simkit.studies.maps.study import Mapper
from tests.machines import DEMO

CASES = 8


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # dask's own, about closing sockets and ports in use
def test_a_map_outlives_one_of_its_workers(tmp_path: Path) -> None:
    import dask
    from distributed import Client, LocalCluster

    scenario, machine = load_scenario(DEMO / "tolerances.toml")
    vary = [parse_vary("supply.voltage=10 %"), parse_vary("tank.can_capacitance=5 %")]
    space = space_of(machine, scenario, MapPlan(tolerances=False), vary)
    store = Store(tmp_path)
    # Engine runs are processes of the workers, so these may not be daemons.
    settings = {"distributed.worker.daemon": False, "distributed.comm.timeouts.connect": "20s"}
    with (
        dask.config.set(settings),
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address=None,
        ) as local,
        Client(local.scheduler_address) as client,
    ):  # fmt: skip
        before = client.run(os.getpid)
        victim = next(iter(before.values()))
        shown: list[float] = []
        killed = threading.Event()

        def progress(share: float) -> None:
            shown.append(share)
            if len(shown) == 3:  # in the middle: both workers are at a case
                os.kill(victim, signal.SIGKILL)
                killed.set()

        started = time.monotonic()
        with Cluster(local.scheduler_address) as crew:
            found = Mapper(space, crew, store, progress).run("sobol", CASES, full=True)
        assert killed.is_set()
        assert victim not in client.run(os.getpid).values()
        assert time.monotonic() - started < 300.0
    # None lost, none doubled: each case of the sample once, each by its own circuit run.
    assert len(found.points) == CASES
    assert len({p.values for p in found.points}) == CASES
    assert {p.method for p in found.points} == {"circuit run"}
    assert len(shown) == CASES
    assert store.usage().entries == CASES
    assert all(p.ratios for p in found.points), "every case has its figures"
