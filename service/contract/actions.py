"""Writing the contract's files: `setbook schema`, and the check that they are as the code says."""

from pathlib import Path

import msgspec
from litestar import Router

from service.contract.document import document
from service.contract.schemas import schemas


def files(routers: list[Router]) -> dict[str, bytes]:
    """Every file of the contract by its path below the schema folder."""
    written = {f"v1/{name}.json": _pretty(schema) for name, schema in schemas().items()}
    return {**written, "openapi.json": _pretty(document(routers))}


def write(folder: Path, routers: list[Router]) -> None:
    """Write them all, and take away what is no longer in the contract."""
    current = files(routers)
    (folder / "v1").mkdir(parents=True, exist_ok=True)
    for path in (folder / "v1").glob("*.json"):
        if f"v1/{path.name}" not in current:
            path.unlink()
    for name, content in current.items():
        (folder / name).write_bytes(content)


def _pretty(value: object) -> bytes:
    return msgspec.json.format(msgspec.json.encode(value), indent=2) + b"\n"
