"""How rule packs are answered: with where they come from, how old the reading is, and what comes first. Pure."""

from typing import Any
from uuid import UUID

from service.kernel.values import is_within
from service.packs.models import NewPack, Pack, PackShown, PackWritten
from service.packs.permitted import NOTICE
from service.packs.rules import aged


def shipped_pack(id_: UUID, pack: NewPack) -> PackShown:
    """One that comes with the package."""
    return PackShown(id=id_, origin="shipped", **_read(pack))


def own_pack(pack: Pack) -> PackShown:
    """One of the business."""
    return PackShown(
        id=pack.id, origin="own", version=pack.version, received_at=pack.received_at, **_read(pack)
    )


def written_pack(pack: Pack, properties_queued: int) -> PackWritten:
    """One of the business that was added, amended or withdrawn, and what that sets going."""
    return PackWritten(
        id=pack.id,
        origin="own",
        version=pack.version,
        received_at=pack.received_at,
        properties_queued=properties_queued,
        **_read(pack),
    )


def is_near(pack: NewPack, region: str | None) -> bool:
    """Whether a pack holds in a region, in a part of it, or in what it is a part of."""
    return region is None or is_within(region, pack.region) or is_within(pack.region, region)


def _read(pack: NewPack) -> dict[str, Any]:
    members = {name: getattr(pack, name) for name in NewPack.__struct_fields__}
    age = aged(pack.citation, pack.text_as_of, pack.verified_on, pack.reviewed_by)
    return {**members, "reading": age, "notice": NOTICE}
