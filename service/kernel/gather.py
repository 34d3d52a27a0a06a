"""Look-ups by key that come at once go out as one: what comes while one is under way goes with the next."""

import asyncio
from collections.abc import Awaitable, Callable, Hashable, Mapping
from typing import Generic, TypeVar

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class Gathered(Generic[K, V]):
    """Many callers, one look-up at a time; each is begun after the call whose key it answers."""

    def __init__(self, look_up: Callable[[list[K]], Awaitable[Mapping[K, V]]]) -> None:
        """`look_up` takes keys, each once, and gives what it finds of them."""
        self._look_up = look_up
        self._waiting: dict[K, asyncio.Future[V | None]] = {}
        self._under_way: asyncio.Task[None] | None = None

    async def get(self, key: K) -> V | None:
        """What is found of the key, or None; raises what the look-up raises."""
        loop = asyncio.get_running_loop()
        if key not in self._waiting:
            self._waiting[key] = loop.create_future()
        answer = self._waiting[key]
        if self._under_way is None:
            self._under_way = loop.create_task(self._answer())
        # one caller that gives up must not take the answer from those who wait for the same key
        return await asyncio.shield(answer)

    async def _answer(self) -> None:
        try:
            while self._waiting:
                asked, self._waiting = self._waiting, {}
                try:
                    found = await self._look_up(list(asked))
                except Exception as error:  # noqa: BLE001 - it is the callers' to handle
                    for answer in asked.values():
                        answer.set_exception(error)
                else:
                    for key, answer in asked.items():
                        answer.set_result(found.get(key))
        finally:
            self._under_way = None
