"""HTTP for the key set: whoever holds a record checks its signature with it. It needs no key."""

from typing import Any

from litestar import Request, Response, Router, get

from service.kernel.db import Db
from service.kernel.http import public_route
from service.signatures.keyring import key_set
from service.signatures.models import JwkSet

MEDIA = "application/jwk-set+json"


@get("/.well-known/jwks.json", **public_route(JwkSet, MEDIA))
async def read_key_set(request: Request[Any, Any, Any]) -> Response[JwkSet]:
    """Every key that signs records and seals here or ever did (RFC 7517)."""
    return Response(await key_set(Db(request.app.state.pool)), media_type=MEDIA)


router = Router("/", route_handlers=[read_key_set])
