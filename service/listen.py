"""`setbook listen`: a small receiver that verifies deliveries and prints them, for trying webhooks out."""

import asyncio

import msgspec
from aiohttp import web

from service.events.signing import PUBLIC, NotVerified, check_signed, public_key, secret_key
from service.kernel.now import utc_now

LARGEST_BODY_BYTES = 1_000_000


class Heard(msgspec.Struct, frozen=True):
    """What is printed of an event."""

    type: str
    subject: str = "-"
    sequence: str = "-"
    deliverynumber: str = "-"
    data: msgspec.Raw = msgspec.Raw()


class Receiver:
    """Verifies each POST, prints a line of it, and is done after `count` verified ones (never where None)."""

    def __init__(self, secret: str, count: int | None) -> None:
        """ValueError where `secret` is none."""
        self.key = public_key(secret) if secret.startswith(PUBLIC) else secret_key(secret)
        self.count = count
        self.verified = 0
        self.done = asyncio.Event()

    async def receive(self, request: web.Request) -> web.Response:
        """204 where it verifies, else 400 with the reason."""
        body = await request.read()
        headers = {name.lower(): value for name, value in request.headers.items()}
        try:
            check_signed(self.key, headers, body, utc_now())
            heard = msgspec.json.decode(body, type=Heard)
        except NotVerified as reason:
            return _refuse(f"not verified: {reason}")
        except msgspec.DecodeError as reason:
            return _refuse(f"verified, but the body is no event: {reason}.")
        self.verified += 1
        _show(heard)
        if self.verified == self.count:
            self.done.set()
        return web.Response(status=204)


async def listen(secret: str, *, host: str = "127.0.0.1", port: int = 0, count: int | None = None) -> None:
    """Print the URL, then a line for each delivery, until `count` were verified or for ever.

    ValueError where the secret is none, OSError where the port is taken.
    """
    receiver = Receiver(secret, count)
    app = web.Application(client_max_size=LARGEST_BODY_BYTES)
    app.router.add_post("/{path:.*}", receiver.receive)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    try:
        await web.TCPSite(runner, host, port).start()
        bound = runner.addresses[0][1]
        shown = f"[{host}]" if ":" in host else host
        _say(f"listening on http://{shown}:{bound}/")
        await receiver.done.wait()
    finally:
        await runner.cleanup()


def _show(heard: Heard) -> None:
    """A line of it, and below it what the event is about."""
    _say(
        f"verified {heard.type} subject={heard.subject} sequence={heard.sequence} "
        f"deliverynumber={heard.deliverynumber}"
    )
    if heard.data:
        for line in msgspec.json.format(bytes(heard.data), indent=2).decode().split("\n"):
            _say(f"  {line}")


def _refuse(reason: str) -> web.Response:
    _say(reason)
    return web.Response(status=400, text=reason + "\n")


def _say(text: str) -> None:
    """One line at once; what came from outside cannot steer the terminal."""
    print("".join(letter if letter.isprintable() else "?" for letter in text), flush=True)
