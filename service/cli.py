"""The verbs of `setbook`, a few lines each; each imports what it alone needs, so that none slows another."""
# ruff: noqa: PLC0415

import asyncio
import os
import sys
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.kernel.db import open_pool
from service.kernel.errors import CannotStart
from service.kernel.migrate import migrate as bring_up
from service.kernel.now import utc_now
from service.server.embedded import reached
from service.settings import Settings, read_settings, sealing_key


def serve(given: Namespace) -> None:
    """Everything, or one role."""
    from service import serve as processes

    processes.serve(settings(given), given.role)


def migrate(given: Namespace) -> None:
    """Bring the database up to this version."""
    with database(settings(given)) as url:
        asyncio.run(bring_up(url))


def business_add(given: Namespace) -> None:
    """A new business; its first key is shown here and never again."""
    import zoneinfo

    from service.identity.actions import add_business

    if given.zone not in zoneinfo.available_timezones():
        raise CannotStart(f"{given.zone} is no IANA time zone; give one such as America/Los_Angeles")

    async def add(url: str) -> None:
        await bring_up(url)
        async with await open_pool(url, "migrator", 1) as pool:
            business_id, key = await add_business(pool, given.name, given.zone, utc_now())
        print(f"business {business_id}\nkey      {key.key}")

    with database(settings(given)) as url:
        asyncio.run(add(url))


def packs_check(given: Namespace) -> None:
    """Say what is wrong with files of rule packs, each fault with its line; status 1 where anything is."""
    from service.packs.reading import faults_in

    wrong = 0
    for file in given.files:
        try:
            raw = Path(file).read_bytes()
        except OSError as error:
            raise CannotStart(f"{file} cannot be read ({error.strerror}); check the path.") from error
        faults = faults_in(raw, utc_now())
        wrong += len(faults)
        for line, detail in faults:
            print(f"{file}:{line}: {detail}")
        if not faults:
            print(f"{file}: sound")
    if wrong:
        sys.exit(1)


def signing_key_rotate(given: Namespace) -> None:
    """Sign with a new key from now on; the old ones stay published, so that what they signed verifies."""
    from service.signatures.keyring import rotate

    known = settings(given)

    async def anew(url: str) -> str:
        await bring_up(url)
        async with await open_pool(url, "migrator", 1) as pool:
            return await rotate(pool, sealing_key(known), utc_now())

    with database(known) as url:
        print(asyncio.run(anew(url)))


def signing_key_list(given: Namespace) -> None:
    """Every key that signs or ever signed here, the newest first."""
    from service.kernel.db import Db
    from service.signatures.keyring import list_keys

    async def shown(url: str) -> None:
        async with await open_pool(url, "app", 1) as pool:
            for one in await list_keys(Db(pool)):
                until = (
                    "in force" if one.retired_at is None else f"retired {one.retired_at:%Y-%m-%dT%H:%M:%SZ}"
                )
                print(f"{one.kid}  made {one.made_at:%Y-%m-%dT%H:%M:%SZ}  {until}")

    with database(settings(given)) as url:
        asyncio.run(shown(url))


def verify(given: Namespace) -> None:
    """Check files of records offline; status 1 where anything does not hold."""
    from service.verify.files import Given
    from service.verify.report import report

    if not report(Given([Path(one) for one in given.files], given.keys and Path(given.keys)), print):
        sys.exit(1)


def listen(given: Namespace) -> None:
    """Receive webhooks, verify them and print them."""
    from service.listen import listen as receive

    try:
        asyncio.run(receive(given.secret, host=given.host, port=given.port, count=given.count))
    except ValueError as error:
        raise CannotStart(f"{error}") from error
    except OSError as error:
        # asyncio writes the address into its words once more
        why = os.strerror(error.errno) if error.errno and error.errno > 0 else error.strerror
        raise CannotStart(
            f"Nothing can listen at {given.host}:{given.port}: {why}; give another --port or --host."
        ) from error
    except KeyboardInterrupt:
        pass


def explain(given: Namespace) -> None:
    """A deadline worked out again from the stated facts; status 1 where the book says otherwise."""
    from service.kernel.db import Db
    from service.kernel.errors import Missing
    from service.replay.actions import business_of, replay
    from service.replay.saying import lines

    async def again(url: str) -> bool:
        async with await open_pool(url, "migrator", 1) as all_of_them, await open_pool(url, "app", 1) as app:
            business_id = await business_of(Db(all_of_them), given.deadline_id)
            found = await replay(Db(app), business_id, given.deadline_id, utc_now())
        print("\n".join(lines(found)))
        return not found.differing

    try:
        with database(settings(given)) as url:
            agrees = asyncio.run(again(url))
    except Missing as missing:
        raise CannotStart(
            f"No deadline has the id {given.deadline_id}; copy it from /v1/deadlines."
        ) from missing
    sys.exit(0 if agrees else 1)


def schema(_given: Namespace) -> None:
    """Write the contract's files anew from the models."""
    from service.app import ROUTERS
    from service.contract import actions as contract
    from service.contract.routes import FOLDER

    contract.write(FOLDER, ROUTERS)


def settings(given: Namespace) -> Settings:
    """The environment's, with what was typed in its place: children and Granian's worker read it there."""
    for name in ("data", "host", "port"):
        typed = getattr(given, name, None)
        if typed is not None:
            os.environ[f"SETBOOK_{name.upper()}"] = typed
    return read_settings(os.environ)


@contextmanager
def database(known: Settings) -> Iterator[str]:
    """The URL of the server that is named, else of the data folder's own, which runs for that."""
    if known.database_url is not None:
        yield known.database_url
    else:
        with reached(known.data) as url:
            yield url
