#!/bin/sh
# Measures Setbook on this machine, each figure as a ratio to a limit in the same run, and writes .bench/NAME.json:
#   sh deploy/bench.sh [--quick] NAME...    NAME is read, visit, courier, export, tick or start; quick takes under a minute a bench
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
sh deploy/setup.sh -dev
for tool in wrk nginx curl; do
    if ! command -v "$tool" >/dev/null; then
        if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null; then
            printf '%s\n' "The benches need wrk and curl, which make the load, and nginx, which takes it; as root, type: apt-get install -y wrk nginx curl" >&2
            exit 1
        fi
        # at run level 1 nothing is started that was just installed
        { RUNLEVEL=1 apt-get install -qq -y "$tool" || { apt-get update -qq && RUNLEVEL=1 apt-get install -qq -y "$tool"; }; } >&2
    fi
done
exec .venv/bin/python -m tests.bench "$@"
