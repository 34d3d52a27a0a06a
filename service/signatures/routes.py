"""HTTP for the key set: whoever holds a record checks its signature with it. It needs no key."""

from typing import Any

from litestar import Request, Response, Router, get

from service.kernel.db import Db
from service.kernel.http import public_route, read_answer, weak_tag
from service.signatures.keyring import key_set
from service.signatures.models import JwkSet

MEDIA = "application/jwk-set+json"


# A copy may be used for so long before it is asked for anew: a new key is seen soon, and the set is no bottleneck.
CACHE = "public, max-age=300"


@get("/.well-known/jwks.json", **public_route(JwkSet, MEDIA, status=(200, 304), headers=("ETag",)))
async def read_key_set(request: Request[Any, Any, Any]) -> Response[Any]:
    """Every key that signs records and seals here or ever did (RFC 7517)."""
    keys = await key_set(Db(request.app.state.pool))
    answered = read_answer(request, keys, weak_tag(keys))
    answered.media_type = MEDIA
    answered.headers["Cache-Control"] = CACHE
    return answered


router = Router("/", route_handlers=[read_key_set])
