"""A person who is named wherever somebody can be: the bodies, the search for the word, and records that verify."""

import json
from typing import Any

import asyncpg
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from service.kernel.base64url import from_base64url
from service.signatures.rules import RECORD_TYPE, check
from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, Api

WORD = "Kestrelby"
CUSTOMER, TENURE, JOB, FEATURE, SECOND = (an_id(number) for number in range(300, 305))
GROUND = {"ground": "The person asked for it."}
Owner = asyncpg.Connection


def the_visit() -> dict[str, Any]:
    """A visit whose every free text holds the word."""
    return a_visit(
        outcome="partly",
        no_access_reason=f"{WORD}'s gate",
        notes=f"{WORD} at home",
        customer_note=f"Dear {WORD}",
        signs=[a_sign(told_by=WORD)],
        sets=[a_set()],
        checks=[a_check(checked_at="2026-05-14T10:20:00-07:00")],
        upkeep=[{"id": an_id(63), "kind": "mown", "at": "2026-05-14T10:00:00-07:00", "told_by": WORD}],
        treatments=[{"id": an_id(64), "method": "castor_oil", "applied_at": "2026-05-14T10:00:00-07:00",
                     "applied_by": "customer", "told_by": WORD}],
        told=[{"id": an_id(65), "who": WORD, "how": f"call to {WORD}", "at": "2026-05-14T10:30:00-07:00",
               "what": "cautions"}],
    )  # fmt: skip


async def sell(api: Api, on: str) -> None:
    """From that local day on the property is the second customer's."""
    tenure = await api.get(f"properties/{PROPERTY}/tenures/{TENURE}")
    answer = await api.patch(
        f"properties/{PROPERTY}/tenures/{TENURE}", {"until_on": on}, If_Match=tenure.headers["etag"]
    )
    assert answer.status_code == 200, answer.text
    await api.made(f"customers/{SECOND}", {"name": "B. Sample"})
    await api.made(f"properties/{PROPERTY}/tenures/{an_id(305)}", {"customer_id": SECOND, "from_on": on})


async def tables_with(owner: "Owner[Any]", word: str) -> set[str]:
    """Every table and column of the schema in which a word stands, also in bytes."""
    columns = await owner.fetch(
        "select table_name, column_name, data_type from information_schema.columns"
        " where table_schema = 'setbook' and data_type in ('text', 'jsonb', 'bytea', 'ARRAY', 'json')"
    )
    found = set()
    for column in columns:
        table, name = column["table_name"], column["column_name"]
        text = f"encode({name}, 'escape')" if column["data_type"] == "bytea" else f"{name}::text"
        if await owner.fetchval(f"select exists (select from {table} where {text} ilike '%{word}%')"):  # noqa: S608
            found.add(f"{table}.{name}")
    return found


async def verified(api: Api, name: str) -> dict[str, Any]:
    """A record with what stands beside it, whose signature holds by the published keys."""
    answer = await api.get(f"service-records/{name}?party=true")
    assert answer.status_code == 200, answer.text
    shown = answer.json()
    keys = {
        one["kid"]: Ed25519PublicKey.from_public_bytes(from_base64url(one["x"]))
        for one in (await api.get("/.well-known/jwks.json")).json()["keys"]
    }
    record = json.dumps(shown["record"], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    check(keys, RECORD_TYPE, record.encode(), shown["signature"])
    return dict(shown)
