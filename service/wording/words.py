"""How a file says what records state: methods, sets, animals, turf, treatments and days in words. Pure."""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby
from typing import get_args
from zoneinfo import ZoneInfo

from service.claims.rules import BY
from service.kernel.days import local_date
from service.kernel.values import Erased, Mechanism
from service.methods.models import ClassName
from service.methods.rules import said_of
from service.sets.models import IN_THE_GROUND
from service.wording.content import (
    AnimalsStated,
    MethodStated,
    RepairStated,
    SetStated,
    Stated,
    TreatmentStated,
)

MECHANISMS = get_args(Mechanism)
CLASSES = get_args(ClassName)
NOT_TAKEN = ("escaped", "released_here")
# a hundredth of a square metre is a hand's breadth
AREA_PLACES = 2
# What is added up of turf and of what our own digging opened, as a customer reads it.
TURF = {
    "saved": "turf saved at",
    "lost": "turf lost at",
    "found_late": "turf found late at",
    "still_lying": "soil still on turf at",
    "covered": "turf covered by us at",
    "opened": "opened by our digging at",
    "opened_still": "still open at the end:",
}
# What people call the animals of a genus.
COMMON = {
    **dict.fromkeys(("Condylura", "Neurotrichus", "Parascalops", "Scalopus", "Scapanus", "Talpa"), "mole"),
    **dict.fromkeys(("Cratogeomys", "Geomys", "Thomomys"), "pocket gopher"),
    **dict.fromkeys(("Arvicola", "Microtus"), "vole"),
    **dict.fromkeys(("Otospermophilus", "Spermophilus", "Urocitellus"), "ground squirrel"),
}


def plain(word: str) -> str:
    """A word of a closed list as people write it."""
    return word.replace("_", " ")


def day_words(day: date) -> str:
    """14 May 2026."""
    return f"{day.day} {day:%B %Y}"


def erased_words(erased: Erased, zone: ZoneInfo) -> str:
    """On which day of the zone persons were erased, and on which ground."""
    return f"erased on {day_words(local_date(erased.at, zone))}: {erased.ground}"


def span_words(from_on: date, until_on: date) -> str:
    """From the first day to the last of a half-open period, both named."""
    last = date.fromordinal(max(until_on.toordinal() - 1, from_on.toordinal()))
    return day_words(from_on) if last == from_on else f"{day_words(from_on)} to {day_words(last)}"


def counted(count: int, noun: str) -> str:
    """1 visit, 2 visits."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def months_between(from_on: date, until_on: date) -> list[tuple[int, int]]:
    """Every calendar month, as year and number, that has a day in the half-open period."""
    first = from_on.year * 12 + from_on.month - 1
    last_on = date.fromordinal(max(until_on.toordinal() - 1, from_on.toordinal()))
    return [(place // 12, place % 12 + 1) for place in range(first, last_on.year * 12 + last_on.month)]


def month_words(month: tuple[int, int]) -> str:
    """May 2026."""
    return f"{date(month[0], month[1], 1):%B %Y}"


def gap_words(without: Sequence[tuple[int, int]]) -> str:
    """Months that follow one another as one span."""
    runs = []
    for _, run in groupby(enumerate(without), lambda one: one[1][0] * 12 + one[1][1] - one[0]):
        months = [month for _, month in run]
        ends = dict.fromkeys([months[0], months[-1]])
        runs.append(" to ".join(map(month_words, ends)))
    return ", ".join(runs)


def animal_words(animals: Iterable[AnimalsStated]) -> str:
    """How many of which animal, without who or where; those that were let go or got away are said apart."""
    sums: Counter[tuple[str, str]] = Counter()
    for one in animals:
        sums[(one.species, one.fate if one.fate in NOT_TAKEN else "")] += one.count
    said = [
        f"{_animals(species, count)}{', ' + plain(fate) if fate else ''}"
        for (species, fate), count in sorted(sums.items())
        if count
    ]
    return "; ".join(said) or "none"


def each_animal(animals: Iterable[AnimalsStated]) -> str:
    """The same with sex, age class and fate, as the record states them."""
    said = []
    for one in animals:
        known = [word for word in (one.age_class, one.sex) if word and word != "unknown"]
        told = ", ".join(filter(None, [" ".join(known), plain(one.fate)]))
        said.append(
            f"{_animals(one.species, one.count)}: {told}" if told else _animals(one.species, one.count)
        )
    return "; ".join(said) or "none"


def species_words(species: str) -> str:
    """A species by what people call it, where that is known, and by its name."""
    known = _everyday_name(species)
    return species if known is None else f"{known} ({species})"


def _everyday_name(species: str) -> str | None:
    return COMMON.get(species.partition(" ")[0])


def _animals(species: str, count: int) -> str:
    known = _everyday_name(species)
    if known is None:
        return f"{count} {species}"
    return f"{counted(count, known)} ({species})"


def method_words(methods: Iterable[MethodStated]) -> str:
    """Each method with its class, as a record names it."""
    known = dict.fromkeys((_method(one.method), class_words(one.method_class)) for one in methods)
    return "; ".join(f"{method} ({of})" for method, of in known) or "none"


def open_method_words(methods: Iterable[MethodStated]) -> str:
    """The same in words of closed lists alone: what people wrote may name somebody."""
    known = dict.fromkeys(
        f"{_method(one.method)} ({open_class(one.method_class)})"
        if one.method in MECHANISMS
        else open_class(one.method_class)
        for one in methods
    )
    return "; ".join(known)


def open_class(name: str) -> str:
    """A class of the register; any other is not named."""
    return class_words(name) if name in CLASSES and name != "unclassified" else "method not on the register"


def class_words(name: str) -> str:
    """A class as the register says it; one that the register has no more, by its name."""
    return next((said_of(one) for one in CLASSES if one == name), plain(name))


def _method(method: str) -> str:
    return f"{plain(method)} trap" if method in MECHANISMS else plain(method)


def set_words(sets: Sequence[SetStated]) -> str:
    """What was done with how many sets, and how many were in the ground at the end."""
    steps = Counter(step for one in sets for step in dict.fromkeys(one.done))
    said = [f"{count} {'looked at' if step == 'checked' else plain(step)}" for step, count in steps.items()]
    left = sum(one.state in IN_THE_GROUND for one in sets)
    said += [f"{left} in the ground at the end"] if said or left else []
    return ", ".join(said) or "none"


def turf_words(stated: Stated) -> str:
    """Mounds cleared, what became of turf, repairs; empty for none of these."""
    said = [f"{counted(stated.mounds_cleared, 'mound')} cleared"] if stated.mounds_cleared else []
    for name, figure in stated.turf_figures.items():
        if isinstance(figure, dict) and figure.get("count"):
            area = f" ({area_words(figure['area_m2'])})" if figure.get("area_m2") else ""
            where = TURF.get(name, f"turf {plain(name)} at")
            said.append(f"{where} {counted(figure['count'], 'place')}{area}")
    return "; ".join([*said, *map(_repair, stated.repairs)])


def area_words(area_m2: str) -> str:
    """Square metres to the hundredth; the record has them to the square millimetre."""
    if len(area_m2.partition(".")[2]) <= AREA_PLACES:
        return f"{area_m2} m²"
    area = Decimal(area_m2)
    return "under 0.01 m²" if 0 < area <= Decimal("0.005") else f"{round(area, AREA_PLACES)} m²"


def due_words(at: datetime, zone: ZoneInfo) -> str:
    """Until when, in local time: what is due before a day begins is due by the end of the one before."""
    local = at.astimezone(zone)
    if (local.hour, local.minute) == (0, 0):
        return f"by the end of {day_words(date.fromordinal(local.toordinal() - 1))}"
    return f"before {day_words(local.date())}, {local:%H:%M}"


def _repair(one: RepairStated) -> str:
    area = f" {area_words(one.area_m2)}" if one.area_m2 else ""
    return f"{plain(one.how)}{area}{' with treated seed' if one.seed_treated else ''}"


def treatment_words(one: TreatmentStated, zone: ZoneInfo) -> str:
    """A treatment as a record names it: what, how much, when, by whom."""
    named = [one.product, f"registration {one.registration}" if one.registration else None]
    named += [" ".join(filter(None, [one.amount, one.unit])) or None]
    more = "".join(f", {each}" for each in named if each)
    when = f" on {day_words(local_date(one.applied_at, zone))}" if one.applied_at else ""
    by = f" by {BY.get(one.applied_by, one.applied_by)}" if one.applied_by else ""
    return f"{plain(one.method)} ({class_words(one.method_class)}){more}{when}{by}"
