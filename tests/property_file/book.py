"""A property that changed hands, with a word of its own in every text that anybody wrote about it."""

import io
import random
import zipfile
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pypdf

from service.deadlines.why import NOTICE
from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.http import LOS_ANGELES, PROPERTY, Api

OLD, NEW = an_id(100), an_id(101)
SPECIES = ("Scapanus latimanus", "Thomomys bottae", "Microtus californicus", "unidentified")
MECHANISMS = ("scissor_jaw", "harpoon", "choker_loop", "box", "live_tunnel")
# whose the property was: half-open
TENURES = {OLD: ("2026-01-05", "2026-03-10"), NEW: ("2026-03-10", None)}


@dataclass
class Words:
    """Words that are found nowhere else, by whose they are."""

    of: dict[str, list[str]] = field(default_factory=dict)

    def new(self, whose: str) -> str:
        """One more: letters alone, so that nothing parts it in a page's text."""
        number = sum(map(len, self.of.values()))
        letters = "".join(chr(97 + int(digit)) for digit in f"{number:04}")
        word = f"Zq{letters}x"
        self.of.setdefault(whose, []).append(word)
        return word

    def among(self, texts: list[bytes], *whose: str) -> list[str]:
        """Those of these owners that stand in one of the texts."""
        words = [word for one in whose for word in self.of[one]]
        return [word for word in words if any(word.encode() in text for text in texts)]


def position(rng: random.Random, words: Words, whose: str) -> dict[str, Any]:
    """A point whose digits are marked, as a record writes them and as GeoJSON does."""
    longitude, latitude = f"{rng.randrange(10**7):07}", f"{rng.randrange(10**7):07}"
    words.of.setdefault(f"{whose} positions", []).extend(
        (f"122{longitude}", f"122.{longitude}", f"45{latitude}", f"45.{latitude}")
    )
    return {"type": "Point", "coordinates": [float(f"-122.{longitude}"), float(f"45.{latitude}")]}


async def marked_book(api: Api, seed: int) -> Words:
    """A business's book of one property with two holders one after the other; every visit has its record."""
    rng, words = random.Random(seed), Words()  # noqa: S311 the same book for the same seed
    place = {
        "name": words.new("new"),
        "ref": words.new("refs"),
        "address": words.new("place"),
        "access_notes": words.new("house"),
        "locality": words.new("house"),
        "kind": "school",
        "zone": LOS_ANGELES,
        "region": "US-CA",
        "position": {"type": "Point", "coordinates": [-122.45, 45.55]},
        "hazards": rng.sample(["children", "pets", "irrigation"], 2),
    }
    await api.made(f"properties/{PROPERTY}", place)
    await api.made(f"workers/{an_id(2)}", {"name": words.new("workers")})
    for customer, whose in ((OLD, "old"), (NEW, "new")):
        person = {
            "name": words.new(whose),
            "ref": words.new(f"{whose} refs"),
            "addresses": [words.new(f"{whose} homes")],
        }
        await api.made(f"customers/{customer}", person | {"email": f"{words.new('house')}@example.com"})
        from_on, until_on = TENURES[customer]
        tenure = {"customer_id": customer, "from_on": from_on}
        tenure |= {"until_on": until_on} if until_on else {}
        await api.made(f"properties/{PROPERTY}/tenures/{customer}", tenure)
    days = sorted(rng.sample(range(6, 127), 9))
    for number, day in enumerate(days):
        on = date(2026, 1, 1) + timedelta(days=day)
        whose = "old" if on < date(2026, 3, 10) else "new"
        await api.made(f"visits/{an_id(1000 + number)}", marked_visit(rng, words, whose, number, on))
        answer = await api.post("service-records", {"visit_id": an_id(1000 + number)})
        assert answer.status_code == 201, answer.text
    return words


def marked_visit(rng: random.Random, words: Words, whose: str, number: int, on: date) -> dict[str, Any]:
    """An hour from noon on that day; what was put down was put down before it, so that no later record tells of it."""
    at = datetime(on.year, on.month, on.day, 20, 0, tzinfo=UTC)
    later, before = (at + timedelta(minutes=5)).isoformat(), (at - timedelta(minutes=30)).isoformat()
    base = 2000 + 100 * number
    caught = {"id": an_id(base + 1), "species": rng.choice(SPECIES), "fate": "dead_in_trap"}
    visit: dict[str, Any] = {
        "arrived_at": at.isoformat(),
        "left_at": (at + timedelta(minutes=rng.randrange(10, 90))).isoformat(),
        "notes": words.new("house"),
        "customer_note": words.new(whose),
        "treatments_none": False,
        "signs": [
            a_sign(id=an_id(base + 2), seen_at=later, told_by=words.new("house"), count=rng.randrange(1, 9))
            | {"geometry": position(rng, words, whose)}
        ],
        "sets": [
            a_set(
                id=an_id(base + 3),
                placed_at=later,
                mechanism=rng.choice(MECHANISMS),
                traps=[{"no": 1, "mark": words.new("house")}],
                position=position(rng, words, whose),
            )
        ],
        "checks": [
            a_check(
                id=an_id(base + 4),
                set_id=an_id(base + 3),
                checked_at=later,
                finding="catch",
                # what stands when the property changes hands, stands in the next holder's ground and records
                action="pulled" if whose == "old" else rng.choice(["pulled", "left", "reset"]),
                catches=[caught],
            )
        ],
        "told": [
            {"id": an_id(base + 5), "who": words.new("house"), "how": words.new("house"), "at": later}
            | {"what": "cautions"}
        ],
    }
    # the first record's period begins with its own arrival, so nothing before it is told of
    if number > 0 and rng.random() < 0.5:
        visit["treatments"] = [
            {
                "id": an_id(base + 6),
                "method": words.new(whose),
                "product": words.new(whose),
                "registration": words.new(whose),
                "unit": words.new(whose),
                "amount": "2",
                "applied_at": before,
                "applied_by": rng.choice(["us", "customer", "other"]),
                "told_by": words.new("house"),
            }
        ]
    return a_visit(**visit)


def text_of(pdf: bytes) -> str:
    """All that is to be read in a PDF, and what it says of itself."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    pages = [page.extract_text() for page in reader.pages]
    return "\n".join([*pages, *map(str, (reader.metadata or {}).values())])


def members_of(archive: bytes) -> dict[str, bytes]:
    """What is in a zip, by name; each member's check sum is read."""
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        assert opened.testzip() is None
        return {one.filename: opened.read(one) for one in opened.infolist()}


def unpacked(archive: bytes, into: Path) -> dict[str, bytes]:
    """The same, laid out as an archiver does."""
    members = members_of(archive)
    for name, content in members.items():
        (into / name).parent.mkdir(exist_ok=True)
        (into / name).write_bytes(content)
    return members


async def everything(api: Api, query: str) -> list[bytes]:
    """Every byte and text that a reader gets: the PDF, the members of the folder, their names."""
    pdf = await api.get(f"properties/{PROPERTY}/file?{query}")
    folder = await api.get(f"properties/{PROPERTY}/file?{query}&format=zip")
    assert (pdf.status_code, folder.status_code) == (200, 200), pdf.text
    members = members_of(folder.content)
    assert members["file.pdf"] == pdf.content
    said = text_of(pdf.content)
    assert NOTICE in said
    return [said.encode(), pdf.content, *members.values(), *(name.encode() for name in members)]
