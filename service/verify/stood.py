"""Which versions stood in an export or page already: a bit a number, so that a long one needs little memory. Pure."""

from collections import defaultdict

from service.verify.models import Said


class Stood:
    """The versions of one file, by business, year and version."""

    def __init__(self) -> None:
        """None stood yet."""
        self.bits: defaultdict[tuple[str, str, int], bytearray] = defaultdict(bytearray)

    def first(self, said: Said) -> bool:
        """Note a record whose bytes hold; False where that version stood before."""
        year, _, number = said.number.partition("-")
        place, bit = divmod(int(number), 8)
        bits = self.bits[said.issuer.business_id, year, said.version]
        bits.extend(bytes(max(0, place + 1 - len(bits))))
        is_first = not bits[place] >> bit & 1
        bits[place] |= 1 << bit
        return is_first
