#!/bin/sh
# Makes .venv with the locked dependencies and Setbook itself; instant where that is done.
#   sh deploy/setup.sh        what the service needs
#   sh deploy/setup.sh -dev   and what its tests and checks need
set -eu
kind=${1:-}
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
venv=$root/.venv

say() { printf '%s\n' "$*" >&2; }
stamp() { printf '%s %s\n' "$root" "$(cat "$root/deploy/requirements$1.txt" "$root/pyproject.toml" | cksum)"; }
is_done() { [ "$(cat "$venv/setbook$1.stamp" 2>/dev/null)" = "$(stamp "$1")" ] && "$venv/bin/python" -c '' 2>/dev/null; }
fits() { "$1" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 14))' 2>/dev/null; }

find_python() {
    for python in python3 python3.13 python3.12 python3.11; do
        if fits "$python"; then return; fi
    done
    wanted=python3
    if python3 -c 'import sys; sys.exit(sys.version_info >= (3, 11))' 2>/dev/null; then wanted=python3.11; fi
    if python3 -c 'import sys; sys.exit(sys.version_info < (3, 14))' 2>/dev/null; then wanted=python3.13; fi
    say "Setbook needs Python 3.11, 3.12 or 3.13, and none is here; as root, type: apt-get install -y $wanted $wanted-venv"
    exit 1
}

make_venv() {
    find_python
    if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        package=$("$python" -c 'import sys; print(f"python{sys.version_info[0]}.{sys.version_info[1]}-venv")')
        if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null; then
            say "This Python cannot make a virtual environment; as root, type: apt-get install -y $package"
            exit 1
        fi
        say "Installing $package ..."
        { apt-get install -qq -y "$package" || { apt-get update -qq && apt-get install -qq -y "$package"; }; } >&2
    fi
    rm -rf "$venv"
    "$python" -m venv "$venv"
}

# What the tests need holds all that the service needs.
if is_done "$kind" || { [ -z "$kind" ] && is_done -dev; }; then exit 0; fi

mkdir -p "$root/.setbook"
if command -v flock >/dev/null; then
    exec 9>"$root/.setbook/setup.lock"
    flock 9 # a second run in this clone waits, then finds it done
    if is_done "$kind"; then exit 0; fi
fi
# An empty HOME would put pip's cache at the root of the disk.
if [ -z "${HOME:-}" ]; then export PIP_NO_CACHE_DIR=1; fi
if ! { fits "$venv/bin/python" && "$venv/bin/python" -m pip --version; } >/dev/null 2>&1; then make_venv; fi
say "Installing the locked dependencies into .venv (once, about a minute) ..."
"$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r "$root/deploy/requirements$kind.txt"
"$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable "$root"
stamp "$kind" >"$venv/setbook$kind.stamp"
