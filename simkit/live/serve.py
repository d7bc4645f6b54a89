"""The server of the live page: from its first page until the last one is gone."""

import asyncio
import contextlib
import os
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from simkit.live.app import Bench, application
from simkit.live.door import Door, new_token
from simkit.live.jobs import Job, Jobs
from simkit.live.pages import Pages

FIRST = 600.0
"""How long nobody may open the page before the server ends [s]."""
LOOPBACK = "127.0.0.1"


def serve(
    machine: Path,
    reports: Path,
    ready: Callable[[str], None],
    port: int = 0,
    linger: float = 20.0,
) -> None:
    """Serve the page of a machine until the last page has been gone for `linger` seconds.

    `ready` is called with the address once it answers; port 0 takes any free one.
    Errors: OSError when the port is taken.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind((LOOPBACK, port))
        asyncio.run(_serve(door, machine, reports, ready, linger))


async def _serve(
    door: socket.socket,
    machine: Path,
    reports: Path,
    ready: Callable[[str], None],
    linger: float,
) -> None:
    pages, token, port = Pages(), new_token(), door.getsockname()[1]

    def tell(job: Job) -> None:
        pages.tell(job.page, job.shown())

    jobs = Jobs(reports, tell, max(1, (os.cpu_count() or 1)))
    app = Door(application(Bench(machine, reports, pages, jobs)), token, port)
    config = uvicorn.Config(
        app, log_level="critical", access_log=False, server_header=False, lifespan="off",
        timeout_graceful_shutdown=1, ws="none", http="h11", loop="asyncio", proxy_headers=False,
    )  # fmt: skip
    server = uvicorn.Server(config)
    serving = asyncio.create_task(server.serve(sockets=[door]))
    while not server.started and not serving.done():
        await asyncio.sleep(0.01)
    ready(f"http://{LOOPBACK}:{port}/{token}/")
    watching = asyncio.create_task(_watch(server, pages, jobs, linger))
    try:
        await serving
    finally:
        watching.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await watching
        await jobs.close()


async def _watch(server: uvicorn.Server, pages: Pages, jobs: Jobs, linger: float) -> None:
    """End what belongs to a page that has gone, and the server after the last one."""
    waited = 0.0
    while not server.should_exit:
        await asyncio.sleep(0.25)
        waited += 0.25
        for page in pages.left_for(linger):
            await jobs.stop_page(page)
        if pages.nobody or (not pages.ever and waited > FIRST):
            server.should_exit = True
