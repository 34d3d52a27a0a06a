"""A sealed month: whether the seal holds, and whether the records that were given are those that it sealed. Pure."""

import re
from itertools import pairwise

import msgspec

from service.seals.models import MonthSeal, SealedRecord
from service.seals.rules import SEAL_TYPE, root_of
from service.verify.models import Keys, Looked
from service.verify.rules import NOT_READ, SIGNED, check_signed

OPENING = b'{"noun":"signed_month_seal"'
_SEAL = re.compile(rb'\{"noun":"signed_month_seal","seal":(\{.*\}),' + SIGNED, re.DOTALL)


def read_seal(keys: Keys, raw: bytes) -> tuple[MonthSeal | None, str | None, list[str]]:
    """The seal, the `kid` that signed it, and what does not hold, one sentence each."""
    form = _SEAL.fullmatch(raw)
    if form is None:
        return None, None, ["These bytes are not a seal as it was handed out; fetch it anew."]
    content, digest, signature = form.groups()
    if signature is None:
        return None, None, ["The seal is not signed; fetch it anew."]
    kid, wrong = check_signed(keys, SEAL_TYPE, content, digest.decode(), signature)
    faults = [wrong] if wrong else []
    try:
        seal = msgspec.json.decode(content, type=MonthSeal)
        leaves = [bytes.fromhex(one.leaf) for one in seal.records]
    except NOT_READ:
        return None, kid, [*faults, "What is signed is no seal of a month."]
    if seal.count != len(seal.records):
        faults.append(f"The seal counts {seal.count} records and lists {len(seal.records)}.")
    if any(one.number >= following.number for one, following in pairwise(seal.records)):
        faults.append("The seal's records do not stand in ascending number.")
    if root_of(leaves).hex() != seal.root:
        faults.append("The root is not the Merkle root (RFC 6962) over the leaves that the seal lists.")
    return seal, kid, faults


class Comparison:
    """The records of a sealed month ticked off one by one; it keeps what the seal lists, and no record."""

    def __init__(self, seal: MonthSeal) -> None:
        """Nothing has been met yet."""
        self.seal = seal
        self.sealed = {one.number: one for one in seal.records}
        self.unmet = dict.fromkeys(self.sealed)
        self.extra: dict[str, int] = {}
        self.moved_on: dict[str, int] = {}
        self.has_others = False

    def meet(self, looked: Looked) -> str | None:
        """Tick a record off; a sentence where it is not the one that was sealed."""
        said = looked.said
        if said is None or said.issuer.business_id != str(self.seal.business_id):
            return None
        sealed = self.sealed.get(said.number)
        if sealed is None:
            self._set_aside(said.number, said.version, f"{said.content.service_on:%Y-%m}")
            return None
        if said.version < sealed.version:
            return None
        self.unmet.pop(said.number, None)
        if (looked.sha256, looked.leaf) == (sealed.sha256, sealed.leaf):
            return None
        self.has_others = True
        if said.version > sealed.version:
            return f"It is newer than {_name(sealed)}, which the seal {self.name} holds; fetch the month's latest seal."
        return f"It is not the one that the seal {self.name} holds: its SHA-256 is another."

    def _set_aside(self, number: str, version: int, month: str) -> None:
        """What the seal does not list is too much where its latest version is of the month, in whatever order."""
        if month == self.seal.month:
            self.extra[number] = max(version, self.extra.get(number, 0))
        elif version > 1:
            # a first version replaces none
            self.moved_on[number] = max(version, self.moved_on.get(number, 0))

    @property
    def name(self) -> str:
        """As a further seal names it."""
        return f"{self.seal.month}.{self.seal.version}"

    def missing(self) -> list[str]:
        """A sentence for each record that was sealed and not met."""
        return [
            f"record {_name(self.sealed[number])}: It is sealed in {self.name} and is not among the records given."
            for number in self.unmet
        ]

    def too_many(self) -> list[str]:
        """A sentence for each record of the month that was not sealed."""
        return [
            f"record {number}.{version}: It is of {self.seal.month}, and the seal {self.name} does not hold it."
            for number, version in self.too_much().items()
        ]

    def too_much(self) -> dict[str, int]:
        """The latest version of each record of the month that the seal does not list, by number."""
        return {
            number: version
            for number, version in self.extra.items()
            if version > self.moved_on.get(number, 0)
        }

    def holds(self, looked: Looked) -> bool:
        """Whether the seal lists these very bytes."""
        said = looked.said
        if said is None or said.issuer.business_id != str(self.seal.business_id):
            return False
        sealed = self.sealed.get(said.number)
        return sealed is not None and (looked.sha256, looked.leaf) == (sealed.sha256, sealed.leaf)


def _name(sealed: SealedRecord) -> str:
    return f"{sealed.number}.{sealed.version}"
