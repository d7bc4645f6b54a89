"""Which pages are open: each holds one stream of events, and its end is noticed."""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Any

BEAT = 2.0
"""A sign of life is sent this often [s]; a dead connection shows at the next one."""
BACKLOG = 1000
"""Messages kept for a page that reads slowly."""


class Pages:
    """Streams of events by page; a page that comes back within a moment is the same one."""

    def __init__(self) -> None:
        self._queues: dict[str, list[asyncio.Queue[str]]] = {}
        self._gone: dict[str, float] = {}
        self._ever = False

    def tell(self, page: str, message: Any) -> None:
        """Send a message to every stream of a page."""
        text = json.dumps(message)
        for queue in self._queues.get(page, []):
            if queue.qsize() < BACKLOG:
                queue.put_nowait(text)

    async def stream(self, page: str, first: list[Any]) -> AsyncIterator[str]:
        """Events for one connection of a page, until it is closed."""
        queue: asyncio.Queue[str] = asyncio.Queue()
        self._queues.setdefault(page, []).append(queue)
        self._gone.pop(page, None)
        self._ever = True
        try:
            for message in first:
                yield f"data: {json.dumps(message)}\n\n"
            while True:
                try:
                    yield f"data: {await asyncio.wait_for(queue.get(), BEAT)}\n\n"
                except TimeoutError:
                    yield ": alive\n\n"
        finally:
            self._queues[page].remove(queue)
            if not self._queues[page]:
                del self._queues[page]
                self._gone[page] = time.monotonic()

    def left_for(self, seconds: float) -> list[str]:
        """Pages that have been gone for longer than this; each is named once."""
        now = time.monotonic()
        found = [page for page, when in self._gone.items() if now - when > seconds]
        for page in found:
            del self._gone[page]
        return found

    @property
    def nobody(self) -> bool:
        """Whether pages were open and none is, nor may come back."""
        return self._ever and not self._queues and not self._gone

    @property
    def ever(self) -> bool:
        """Whether any page was ever open."""
        return self._ever
