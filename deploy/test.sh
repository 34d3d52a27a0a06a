#!/bin/sh
# Sets up, then runs all tests and checks; arguments go to pytest, and then only it runs.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
sh deploy/setup.sh -dev
python=$root/.venv/bin/python
if [ $# -gt 0 ]; then exec "$python" -m pytest "$@"; fi
"$python" -m ruff check
"$python" -m ruff format --check
"$python" -m mypy
"$root/.venv/bin/lint-imports"
"$python" -m pytest -n auto --dist worksteal
