#!/bin/sh
# Style, types, import rules and every test that this machine can run; at the end, by name, what it could not.
# With BELLCHECK_ALL=1 anything that could not run is a failure. Arguments go to pytest.
set -u
cd "$(dirname "$0")/.."
. deploy/environment.sh
(make_environment deploy/lock-dev.txt) || exit 2
PATH="$PWD/.venv/bin:$PATH"
export PATH
report=$(mktemp)
trap 'rm -f "$report"' EXIT
failed=""

part() {
    name=$1
    shift
    echo "== $name"
    "$@" || failed="$failed $name"
}

part style ruff check .
part types mypy
part imports lint-imports
part tests pytest -n auto --junitxml "$report" "$@"
part gaps python deploy/gaps.py "$report"

if [ -n "$failed" ]; then
    echo "Not in order:$failed"
    exit 1
fi
echo "All in order."
