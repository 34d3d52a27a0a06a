"""`setbook explain` at the desk: a deadline of a served book, replayed; what it cannot find, it says."""

import os
from pathlib import Path

import httpx
import pytest

from fixtures.running import free_port
from tests.bodies import a_set, a_visit, an_id
from tests.http import a_property
from tests.processes import PATIENCE_SECONDS
from tests.server.test_serve import Serve, folder, serve, setbook, wait_until_ready

__all__ = ["folder", "serve"]


@pytest.fixture
def due(serve: Serve, folder: Path) -> str:
    """The id of a look that is due in a book of the data folder, which is served no more."""
    port = free_port()
    serving = serve(folder, port)
    wait_until_ready(port, serving)
    adding = setbook(
        "business", "add", "Green Lawns", "--zone", "America/Los_Angeles", SETBOOK_DATA=str(folder)
    )
    key = adding.communicate(timeout=PATIENCE_SECONDS)[0].split()[-1]
    with httpx.Client(
        base_url=f"http://127.0.0.1:{port}/v1",
        headers={"Authorization": f"Bearer {key}"},
        timeout=PATIENCE_SECONDS,
    ) as api:
        for path, body in (
            (f"properties/{an_id(1)}", a_property(region="US-VA")),
            (f"workers/{an_id(2)}", {"name": "R. Example"}),
            (f"visits/{an_id(3)}", a_visit(sets=[a_set()])),
        ):
            assert api.put(path, json=body).status_code == 201
        (one,) = api.get("deadlines").json()["items"]
    serving.terminate()
    serving.communicate(timeout=PATIENCE_SECONDS)
    return str(one["id"])


def test_a_deadline_is_explained_at_the_desk_and_an_unknown_one_is_said_to_be_so(
    folder: Path, due: str
) -> None:
    explaining = setbook("explain", due, "--data", str(folder))
    shown, said = explaining.communicate(timeout=PATIENCE_SECONDS)
    assert explaining.returncode == 0, said
    assert "4VAC15-40-195" in shown
    assert shown.splitlines()[-1] == "They agree."
    unknown = setbook("explain", an_id(99), "--data", str(folder))
    _, said = unknown.communicate(timeout=PATIENCE_SECONDS)
    assert unknown.returncode == os.EX_CONFIG
    assert f"No deadline has the id {an_id(99)}; copy it from /v1/deadlines." in said
