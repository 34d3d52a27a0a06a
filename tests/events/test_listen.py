"""`setbook listen` as an integrator runs it, with the courier on the other side."""

import asyncio
import io
import socket
from contextlib import asynccontextmanager, redirect_stdout

import pytest
from aiohttp import ClientSession

from service import cli
from service.__main__ import parser
from service.events.signing import secret_key, secret_text, signed_headers
from service.kernel.errors import CannotStart
from service.kernel.now import utc_now
from service.listen import listen
from tests.events.conftest import Book, deliver
from tests.processes import PATIENCE_SECONDS

SECRET = secret_text(bytes(range(32)))
BODY = b'{"type":"check.overdue","subject":"a-set","sequence":"00000000000000000042","deliverynumber":"7"}'


class Lines(io.StringIO):
    """Standard output, a line at a time, as it is printed."""

    def __init__(self) -> None:
        super().__init__()
        self.printed: asyncio.Queue[str] = asyncio.Queue()

    def write(self, text: str) -> int:
        if text != "\n":
            self.printed.put_nowait(text)
        return len(text)

    async def next(self) -> str:
        async with asyncio.timeout(PATIENCE_SECONDS):
            return await self.printed.get()


@asynccontextmanager
async def listening(secret: str, count: int):
    """A receiver's lines and its URL; it has ended when the block has."""
    lines = Lines()
    with redirect_stdout(lines):
        running = asyncio.create_task(listen(secret, count=count))
        yield lines, (await lines.next()).removeprefix("listening on ")
        await running


async def post(url: str, body: bytes, headers: dict[str, str]) -> tuple[int, str]:
    async with ClientSession() as session, session.post(url, data=body, headers=headers) as response:
        return response.status, await response.text()


async def test_it_prints_what_verifies_and_ends_after_the_count():
    async with listening(SECRET, 2) as (lines, url):
        assert url.startswith("http://127.0.0.1:")
        for _ in range(2):
            headers = signed_headers([secret_key(SECRET)], "id", utc_now(), BODY)
            assert await post(url + "any/path", BODY, headers) == (204, "")
            assert await lines.next() == (
                "verified check.overdue subject=a-set sequence=00000000000000000042 deliverynumber=7"
            )


async def test_one_signature_of_several_is_enough_and_the_data_is_shown_line_by_line():
    body = b'{"type":"check.overdue","data":{"episode":1,"why":"due\\u001b[2J"}}'
    headers = signed_headers([bytes(32), secret_key(SECRET)], "id", utc_now(), body)
    headers["webhook-signature"] = f"v1a,{'A' * 86}== v7,? " + headers["webhook-signature"]
    async with listening(SECRET, 1) as (lines, url):
        assert await post(url, body, headers) == (204, "")
        assert [await lines.next() for _ in range(5)] == [
            "verified check.overdue subject=- sequence=- deliverynumber=-",
            "  {",
            '    "episode": 1,',
            '    "why": "due\\u001b[2J"',
            "  }",
        ]


async def test_what_does_not_verify_is_answered_with_the_reason_and_not_counted():
    good = signed_headers([secret_key(SECRET)], "id", utc_now(), BODY)
    wrong = {
        "No signature fits": (BODY + b" ", good),
        "is missing": (BODY, {}),
        "s off": (BODY, good | {"webhook-timestamp": "1614265330"}),
        "the body is no event": (b"[]", signed_headers([secret_key(SECRET)], "id", utc_now(), b"[]")),
    }
    async with listening(SECRET, 1) as (lines, url):
        for word, (body, headers) in wrong.items():
            code, text = await post(url, body, headers)
            assert code == 400
            assert word in text
            assert await lines.next() == text.strip()
        assert (await post(url, BODY, good))[0] == 204


async def test_a_wrong_secret_is_told_before_anything_is_opened(capsys: pytest.CaptureFixture[str]):
    with pytest.raises(ValueError, match="begins with whsec_"):
        await listen("secret")
    assert capsys.readouterr().out == ""


async def test_it_verifies_what_the_courier_sends(book: Book, courier, sessions):
    now = utc_now()
    endpoint_id, secret = await book.add_endpoint("http://127.0.0.1:9/")
    async with listening(secret, 1) as (lines, url):
        await book.owner.execute("update endpoint set url = $2 where id = $1", endpoint_id, url)
        await book.ping(endpoint_id, now)
        await deliver(courier, sessions, now)
        assert await lines.next() == (
            f"verified test.ping subject={endpoint_id} sequence={1:020} deliverynumber=1"
        )


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (("--port", "65536"), "must be a whole number from 0 to 65535, not '65536'"),
        (("--port", "http"), "must be a whole number from 0 to 65535, not 'http'"),
        (("--count", "0"), "must be a whole number from 1 to 1000000, not '0'"),
    ],
)
def test_numbers_that_cannot_be_meant_are_refused_as_typed(
    typed: tuple[str, str], sentence: str, capsys: pytest.CaptureFixture[str]
):
    with pytest.raises(SystemExit, match="2"):
        parser().parse_args(["listen", "--secret", SECRET, *typed])
    assert sentence in capsys.readouterr().err


def test_a_port_that_is_taken_is_told_in_one_sentence():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        given = parser().parse_args(["listen", "--secret", SECRET, "--port", str(port)])
        with pytest.raises(CannotStart) as refused:
            cli.listen(given)
    assert str(refused.value) == (
        f"Nothing can listen at 127.0.0.1:{port}: Address already in use; give another --port or --host."
    )
