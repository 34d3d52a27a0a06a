"""The door to rule packs: how a business's own one is kept, and those that come with the package, by id."""

from functools import cache
from uuid import NAMESPACE_URL, UUID, uuid5

from service.kernel.sql import Queries
from service.packs.models import NewPack, Pack
from service.packs.rules import shipped
from service.stated.door import Noun

sql = Queries(__package__)
PACK = Noun(
    "rule_pack",
    "rule-packs",
    NewPack,
    Pack,
    sql.read_rule_pack,
    sql.put_rule_pack,
    sql.list_rule_packs,
    delete=sql.delete_rule_pack,
)


@cache
def shipped_by_id() -> dict[UUID, NewPack]:
    """The shipped packs in order of id, which is the UUIDv5 of `urn:setbook:rule-pack:` and the name."""
    known = {uuid5(NAMESPACE_URL, f"urn:setbook:rule-pack:{one.name}"): one for one in shipped()}
    return dict(sorted(known.items()))
