#!/bin/sh
# Measures Setbook on this machine, each figure as a ratio to a limit in the same run, and writes .bench/NAME.json:
#   sh deploy/bench.sh [--quick] NAME...    NAME is read, visit, start or tick; quick takes under a minute a bench
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
sh deploy/setup.sh -dev
if ! command -v wrk >/dev/null; then
    if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null; then
        printf '%s\n' "The benches need wrk, which makes the load; as root, type: apt-get install -y wrk" >&2
        exit 1
    fi
    { apt-get install -qq -y wrk || { apt-get update -qq && apt-get install -qq -y wrk; }; } >&2
fi
exec .venv/bin/python -m tests.bench "$@"
