"""What a bench gives: medians over interleaved rounds, and ratios taken within each round."""

import os
import platform
from collections.abc import Mapping
from pathlib import Path
from statistics import median
from typing import NamedTuple

import msgspec

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / ".bench"


class Extent(NamedTuple):
    """How long a bench takes."""

    rounds: int
    seconds: int


# many short rounds: the machine is seldom the same for long
QUICK = Extent(rounds=5, seconds=2)
THOROUGH = Extent(rounds=9, seconds=5)


class Figures(msgspec.Struct, kw_only=True, omit_defaults=True):
    """One bench. A ratio over 1 means that ours is faster; `spread` is the ratio's in the worst and best round."""

    name: str
    unit: str
    rounds: int
    ours: float
    limit: float
    peers: dict[str, float]
    ratio_to_limit: float
    ratio_to_peer: dict[str, float]
    spread: tuple[float, float]
    machine: str
    notes: str
    # the further figures of this bench, written beside the others
    further: dict[str, float]


def compared(
    name: str,
    unit: str,
    rounds: list[tuple[float, float]],
    further: Mapping[str, list[float]],
    notes: str,
    *,
    less_is_better: bool = False,
) -> Figures:
    """Medians of (ours, limit) of each round, and of each further figure."""
    ratios = [limit / ours if less_is_better else ours / limit for ours, limit in rounds]
    return Figures(
        name=name,
        unit=unit,
        rounds=len(rounds),
        ours=round(median(ours for ours, _ in rounds), 3),
        limit=round(median(limit for _, limit in rounds), 3),
        peers={},
        ratio_to_limit=round(median(ratios), 3),
        ratio_to_peer={},
        spread=(round(min(ratios), 3), round(max(ratios), 3)),
        machine=machine(),
        notes=f"{notes} Load of the machine at the end: {os.getloadavg()[0]:.1f}.",
        further={figure: round(median(values), 3) for figure, values in further.items()},
    )


def machine() -> str:
    """What it ran on."""
    gib = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    system = f"{platform.system()} {platform.machine()}, Python {platform.python_version()}"
    return f"{os.cpu_count()} cores, {gib:.0f} GiB, {system}"


def report(figures: Figures) -> None:
    """Into .bench/NAME.json, and as a line of a table with what belongs to it."""
    written = msgspec.to_builtins(figures)
    written |= written.pop("further")
    FOLDER.mkdir(exist_ok=True)
    text = msgspec.json.format(msgspec.json.encode(written), indent=2)
    (FOLDER / f"{figures.name}.json").write_bytes(text + b"\n")
    low, high = figures.spread
    print(f"{'bench':8}{'ours':>12}{'limit':>12}{'ratio':>8}   spread of {figures.rounds} rounds")
    print(
        f"{figures.name:8}{figures.ours:12,.5g}{figures.limit:12,.5g}{figures.ratio_to_limit:8.3f}   "
        f"{low:.3f} to {high:.3f}   ({figures.unit})"
    )
    print("".join(f"  {figure} {value:,}\n" for figure, value in figures.further.items()), end="")
    print(f"  {figures.notes}\n  {figures.machine}", flush=True)
