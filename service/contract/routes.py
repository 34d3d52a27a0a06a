"""HTTP for the contract and for operations: schemas, OpenAPI, problems, health. None needs a key."""

from pathlib import Path
from typing import Any

from litestar import Request, Response, Router, get
from msgspec import Struct

from service import __version__
from service.contract.problems import MEANINGS
from service.kernel.errors import TITLES, Refused
from service.kernel.http import public_route
from service.kernel.sentences import nearest, shown

FOLDER = Path(__file__).parents[2] / "schema"
PAGE = Path(__file__).with_name("docs.html")
SCHEMA_MEDIA = "application/schema+json"


class Health(Struct, frozen=True):
    """Whether it is well, in one word, and why not."""

    status: str


class Release(Struct, frozen=True):
    """What runs here."""

    version: str


class ProblemMeaning(Struct, frozen=True):
    """What a problem type means, and the status it comes with."""

    type: str
    title: str
    status: int
    meaning: str


NO_STORE = {"Cache-Control": "no-store"}


def _kept_file(path: Path, media: str) -> Response[bytes]:
    return Response(path.read_bytes(), media_type=media)


@get("/livez", **public_route(Health))
async def livez() -> Response[Health]:
    """The process answers."""
    return Response(Health("alive"), headers=NO_STORE)


@get("/readyz", **public_route(Health, refuses=(503,)))
async def readyz(request: Request[Any, Any, Any]) -> Response[Health]:
    """The database answers too."""
    await request.app.state.pool.fetchval("select 1")
    return Response(Health("ready"), headers=NO_STORE)


@get("/version", **public_route(Release))
async def version() -> Release:
    """The version of Setbook."""
    return Release(__version__)


@get("/openapi.json", **public_route(dict[str, Any]))
async def openapi() -> Response[bytes]:
    """This document."""
    return _kept_file(FOLDER / "openapi.json", "application/json")


@get("/docs", **public_route(str, "text/html"))
async def read_docs() -> Response[bytes]:
    """The document as a page for people."""
    return _kept_file(PAGE, "text/html")


@get("/schema/v1/{name:str}", **public_route(dict[str, Any], SCHEMA_MEDIA, (404,)))
async def read_schema(name: str) -> Response[bytes]:
    """The JSON Schema of a noun or an event, e.g. visit.json, check.overdue.json."""
    kept = {path.name: path for path in (FOLDER / "v1").iterdir()}
    if name not in kept:
        raise Refused("not_found", f"There is no schema {shown(name)} here{nearest(name, kept)}")
    return _kept_file(kept[name], SCHEMA_MEDIA)


@get("/problems/{kind:str}", **public_route(ProblemMeaning, refuses=(404,)))
async def read_problem(kind: str) -> ProblemMeaning:
    """What the `type` of a problem means."""
    if kind not in TITLES:
        raise Refused("not_found", f"There is no problem {shown(kind)} here{nearest(kind, TITLES)}")
    status, title = TITLES[kind]
    return ProblemMeaning(f"/problems/{kind}", title, status, MEANINGS[kind])


router = Router("/", route_handlers=[livez, readyz, version, openapi, read_docs, read_schema, read_problem])
