"""Verifying what was given, and saying what was found: a line a file, a line a fault, a summary."""

from collections import Counter
from collections.abc import Callable
from hashlib import sha256
from itertools import islice
from typing import IO

from service.kernel.errors import CannotStart
from service.verify import key_set, pages, seal_rules
from service.verify.files import BROKEN, File, Given, files_in
from service.verify.models import Keys, Looked
from service.verify.rules import CLOSING, closing_faults, look
from service.verify.seal_rules import Comparison
from service.verify.stood import Stood

# No line of an export and no page or seal is longer; what is, is none.
LARGEST_LINE = 256_000_000
MOST_NAMED = 100
MOST_MONTHS = 12
TABLE = (
    "A table bears no signature: verify the NDJSON of the same query, and hold the CSV against what its digest says"
    " (/v1/service-records/digest)."
)
UNSIGNED = (
    "It is not signed, and no seal that was given holds it: anybody can have written it; "
    "ask the issuer for a later version, or for the seal of its month."
)


def report(given: Given, say: Callable[[str], None]) -> bool:
    """Verify all of it and say so line by line; whether everything holds."""
    files = list(files_in(given.paths))
    run = Run(say)
    run.take_keys(given, files)
    looked_at = [one for one in files if one.is_looked_at and not one.is_key_set]
    # seals first, so that records are ticked off while they stream by
    for one in sorted(looked_at, key=lambda one: not run.opens_with(one, seal_rules.OPENING)):
        run.verify(one)
    run.compare_months()
    run.tell_of_unsealed()
    if not looked_at:
        run.fault(
            "Nothing verified", "No record, export, page or seal was given; name the files or their folder."
        )
    run.sum_up(len(files) - len(looked_at) - run.key_files)
    return run.faults == 0


class Run:
    """One run over the files: its keys, what is to be ticked off, and what was counted."""

    def __init__(self, say: Callable[[str], None]) -> None:
        """Nothing has been looked at."""
        self.say = say
        self.keys: Keys = {}
        self.key_files = 0
        self.keys_from = ""
        self.faults = 0
        self.seen: Counter[str] = Counter()
        self.used: set[str] = set()
        self.comparisons: dict[tuple[str, str], Comparison] = {}
        self.months: set[tuple[str, str]] = set()
        self.is_whole = False

    def fault(self, where: str, sentence: str) -> None:
        """Say what does not hold, and where."""
        self.faults += 1
        self.say(f"{where}: {sentence}")

    def opens_with(self, file: File, beginning: bytes) -> bool:
        """Whether the file begins like that; one that cannot be read says so when it is verified."""
        try:
            with file.open() as opened:
                return opened.read(len(beginning)) == beginning
        except BROKEN:
            return False

    def take_keys(self, given: Given, files: list[File]) -> None:
        """The key set that was named, else those that lie beside the records; CannotStart where there is none."""
        beside = [one for one in files if one.is_key_set]
        self.key_files = len(beside)
        named = list(files_in([given.keys])) if given.keys else beside
        if not named and any(one.is_looked_at and not one.is_table for one in files):
            raise CannotStart(
                "No key set was given; fetch the issuer's /.well-known/jwks.json and name it with --keys."
            )
        self.keys_from = " and ".join(one.name for one in named)
        for one in named:
            try:
                with one.open() as opened:
                    keys, faults = key_set.read_key_set(opened.read(LARGEST_LINE))
            except BROKEN as broken:
                keys, faults = {}, [f"It cannot be read ({broken})."]
            self.keys |= keys
            for sentence in faults:
                self.fault(one.name, sentence)

    def verify(self, file: File) -> None:
        """One file, whatever it holds."""
        before = self.faults
        try:
            with file.open() as opened:
                held = self._look_into(file, opened)
        except BROKEN as broken:
            self.fault(file.name, f"It cannot be read to its end ({broken}); fetch it anew.")
            return
        if self.faults == before:
            self.say(f"{file.name}: {held}")

    def _look_into(self, file: File, opened: IO[bytes]) -> str:
        if file.is_table:
            self.fault(file.name, TABLE)
            return ""
        first = opened.readline(LARGEST_LINE)
        if first.startswith(seal_rules.OPENING):
            return self._seal(file, first + opened.read(1))
        if first.startswith(pages.OPENING):
            return self._page(file, first + opened.read(1))
        if not first:
            self.fault(file.name, "It is empty; fetch it anew.")
            return ""
        if first.strip() == b"{":
            # written anew over many lines by some tool
            self._record(file.name, look(self.keys, first + opened.read(LARGEST_LINE)))
            return "a record that holds"
        return self._lines(file, first, opened)

    def _seal(self, file: File, raw: bytes) -> str:
        seal, kid, faults = seal_rules.read_seal(self.keys, raw.removesuffix(b"\n"))
        name = "the seal" if seal is None else f"the seal {seal.month}.{seal.version}"
        for sentence in faults:
            self.fault(f"{file.name}: {name}", sentence)
        self.seen["seals"] += 1
        if seal is None or faults:
            return ""
        self._note_key(kid)
        key = (str(seal.business_id), seal.month)
        known = self.comparisons.get(key)
        if known is not None and known.seal.version == seal.version and known.seal != seal:
            self.fault(
                f"{file.name}: {name}", "Another seal of that name says something else; ask the issuer."
            )
        if known is None or known.seal.version < seal.version:
            self.comparisons[key] = Comparison(seal)
        return f"{name} of {_counted(seal.count, 'record')} holds"

    def _page(self, file: File, raw: bytes) -> str:
        self.is_whole = True
        stood = Stood()
        records, wrong = pages.records_in(raw.removesuffix(b"\n"))
        if wrong:
            self.fault(file.name, wrong)
        for place, one in enumerate(records, start=1):
            self._record(f"{file.name}: item {place}", look(self.keys, one), stood)
        return f"a page of {_counted(len(records), 'record')} holds"

    def _lines(self, file: File, line: bytes, opened: IO[bytes]) -> str:
        """An export, which a closing line ends, or one record alone."""
        count, digest, closing, stood = 0, sha256(), b"", Stood()
        while line and not line.startswith(CLOSING):
            count += 1
            digest.update(line)
            where = file.name if count == 1 and not line.endswith(b"\n") else f"{file.name}: line {count}"
            self._record(where, look(self.keys, line.removesuffix(b"\n")), stood)
            line = opened.readline(LARGEST_LINE)
        closing = line
        if not closing:
            if count == 1 and not file.name.lower().endswith(".ndjson"):
                return "a record that holds"
            self.fault(
                file.name, f"The closing line is missing after {count} lines: it was cut off; pull it anew."
            )
            return ""
        self.is_whole = True
        for sentence in closing_faults(closing, count, digest.hexdigest()):
            self.fault(file.name, sentence)
        if opened.read(1):
            self.fault(file.name, "More follows after the closing line; pull it anew.")
        return f"an export of {_counted(count, 'record')} is whole and holds"

    def _record(self, where: str, looked: Looked, stood: Stood | None = None) -> None:
        self.seen["records"] += 1
        self.seen["unsigned"] += looked.is_unsigned
        self._note_key(looked.kid)
        self._note_month(looked)
        for sentence in looked.faults:
            self.fault(f"{where}: {looked.name}", sentence)
        if looked.is_unsigned and not looked.faults:
            if any(one.holds(looked) for one in self.comparisons.values()):
                self.say(f"{where}: {looked.name}: It is not signed, and a seal that was given holds it.")
            else:
                self.fault(f"{where}: {looked.name}", UNSIGNED)
        wrong = None if stood is None or looked.said is None or looked.faults else stood.note(looked.said)
        if wrong:
            self.fault(f"{where}: {looked.name}", wrong)
        if looked.erased:
            self.say(
                f"{where}: {looked.name}: The record holds without its persons. They were erased {looked.erased}: day "
                "and ground are the business's word, which nothing that is signed binds."
            )
        for comparison in self.comparisons.values():
            if wrong := comparison.meet(looked):
                self.fault(f"{where}: {looked.name}", wrong)

    def _note_month(self, looked: Looked) -> None:
        if looked.said is not None and not looked.faults:
            self.months.add((looked.said.issuer.business_id, f"{looked.said.content.service_on:%Y-%m}"))

    def _note_key(self, kid: str | None) -> None:
        if kid is not None:
            self.used.add(kid)

    def compare_months(self) -> None:
        """What the seals hold beside what was given; single records alone need not be all of a month."""
        for one in self.comparisons.values():
            for sentence in one.too_many():
                self.fault(f"seal {one.name}", sentence)
            missing = one.missing()
            if missing and self.is_whole:
                for sentence in islice(missing, MOST_NAMED):
                    self.fault(f"seal {one.name}", sentence)
                if len(missing) > MOST_NAMED:
                    self.say(f"seal {one.name}: and {len(missing) - MOST_NAMED} more are missing.")
            elif missing:
                met = one.seal.count - len(missing)
                self.say(
                    f"seal {one.name}: {met} of its {one.seal.count} records are here, each as it was sealed."
                )
            elif not one.too_much() and not one.has_others:
                all_of_it = (
                    "its one record is here"
                    if one.seal.count == 1
                    else f"all of its {one.seal.count} records are here"
                )
                self.say(f"seal {one.name}: {all_of_it}, and no other of the month.")

    def tell_of_unsealed(self) -> None:
        """Of which months it does not show whether a record was left out; one record alone does not ask that."""
        months = sorted(
            {month for business, month in self.months if (business, month) not in self.comparisons}
        )
        if not months or self.seen["records"] == 1:
            return
        named = (
            ", ".join(months)
            if len(months) <= MOST_MONTHS
            else f"{len(months)} months from {months[0]} to {months[-1]}"
        )
        self.say(
            f"No seal of {named} was given: that no record was left out there does not show; a sealed month's is at"
            " /v1/months/YYYY-MM/seal."
        )

    def sum_up(self, others: int) -> None:
        """The last lines: how many of what, by which keys, and whether it all holds."""
        counted = f"{_counted(self.seen['records'], 'record')} and {_counted(self.seen['seals'], 'seal')}"
        if self.seen["unsigned"]:
            counted += f", {self.seen['unsigned']} of them unsigned"
        if others:
            counted += f"; not looked at: {_counted(others, 'other file')}"
        if self.used:
            self.say(
                f"Signed with {', '.join(sorted(self.used))} of {self.keys_from}: see that the issuer publishes them."
            )
        self.say(
            f"All holds: {counted}."
            if self.faults == 0
            else f"{_counted(self.faults, 'thing')} wrong: {counted}."
        )


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"
