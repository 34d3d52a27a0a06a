"""Look-ups that come at once: one statement for many, and each caller its own answer."""

import asyncio

import pytest

from service.kernel.gather import Gathered


class Shelf:
    """Knows the squares of numbers below ten, and answers when it is let."""

    def __init__(self) -> None:
        self.asked: list[list[int]] = []
        self.open = asyncio.Event()
        self.begun = asyncio.Event()

    async def look_up(self, keys: list[int]) -> dict[int, int]:
        self.asked.append(keys)
        self.begun.set()
        await self.open.wait()
        if 13 in keys:
            raise OSError("gone")
        return {key: key * key for key in keys if key < 10}


async def test_what_comes_while_one_is_under_way_goes_with_the_next() -> None:
    shelf = Shelf()
    gathered = Gathered(shelf.look_up)
    first = asyncio.create_task(gathered.get(1))
    await shelf.begun.wait()
    others = asyncio.gather(*(gathered.get(key) for key in (2, 3, 2, 1, 99)))
    shelf.open.set()
    assert await first == 1
    assert await others == [4, 9, 4, 1, None]
    # the second call for 1 came after the first look-up had begun, so it is not answered by that
    assert shelf.asked == [[1], [2, 3, 1, 99]]
    assert await gathered.get(4) == 16


async def test_a_look_up_that_fails_fails_for_those_who_asked_and_no_others() -> None:
    shelf = Shelf()
    gathered = Gathered(shelf.look_up)
    first = asyncio.create_task(gathered.get(1))
    await shelf.begun.wait()
    others = asyncio.gather(gathered.get(13), gathered.get(2), return_exceptions=True)
    shelf.open.set()
    assert await first == 1
    assert [type(answer) for answer in await others] == [OSError, OSError]
    assert await gathered.get(2) == 4


async def test_one_who_gives_up_takes_no_answer_from_the_others() -> None:
    shelf = Shelf()
    gathered = Gathered(shelf.look_up)
    given_up, waiting = (asyncio.create_task(gathered.get(3)) for _ in range(2))
    await shelf.begun.wait()
    given_up.cancel()
    with pytest.raises(asyncio.CancelledError):
        await given_up
    shelf.open.set()
    assert await waiting == 9
    assert shelf.asked == [[3]]
