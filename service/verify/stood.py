"""What stood in an export or page already: a bit a number, so that a long one needs little memory. Pure."""

from collections import defaultdict

from service.verify.models import Said


class Stood:
    """The versions of one file, by year and version; all of them are of one business."""

    def __init__(self) -> None:
        """None stood yet."""
        self.business_id: str | None = None
        self.bits: defaultdict[tuple[str, int], bytearray] = defaultdict(bytearray)

    def note(self, said: Said) -> str | None:
        """Note a record whose bytes hold; a sentence where it cannot be of the same file as those before."""
        self.business_id = self.business_id or said.issuer.business_id
        if said.issuer.business_id != self.business_id:
            return "It is of another business than those before it: it is not of this export; pull it anew."
        year, _, number = said.number.partition("-")
        place, bit = divmod(int(number), 8)
        bits = self.bits[year, said.version]
        bits.extend(bytes(max(0, place + 1 - len(bits))))
        stood = bits[place] >> bit & 1
        bits[place] |= 1 << bit
        return "It stands twice; each version stands once: pull it anew." if stood else None
