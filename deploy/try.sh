#!/bin/sh
# A school morning of an invented district, on this machine alone. Arguments go to `bellcheck try`.
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh
make_environment deploy/lock.txt
exec .venv/bin/bellcheck try "$@"
