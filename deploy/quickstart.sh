#!/bin/sh
# Installs what is missing, then shows the whole job on this machine:
#   sh deploy/quickstart.sh           once through, and stops all that it started
#   sh deploy/quickstart.sh --serve   the same demo, kept up until Ctrl-C
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
sh "$root/deploy/setup.sh"
exec "$root/.venv/bin/python" "$root/fixtures/quickstart.py" "$@"
