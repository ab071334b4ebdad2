#!/bin/sh
# Style, types, import rules and every test that this machine can run; at the end, by name, what it could not.
# With BELLCHECK_ALL=1 anything that could not run is a failure. Arguments go to pytest.
set -u
cd "$(dirname "$0")/.."
. deploy/environment.sh
(make_environment deploy/lock-dev.txt) || exit 2
PATH="$PWD/.venv/bin:$PATH"
export PATH
reports=$(mktemp -d)
trap 'rm -rf "$reports"' EXIT
failed=""
# Many tests wait for a disk, a server or another process: three of them keep two cores busy.
cores=$(getconf _NPROCESSORS_ONLN)
workers=$((cores + cores / 2))

part() {
    name=$1
    shift
    echo "== $name"
    "$@"
    code=$?
    # 5: pytest was pointed at files that hold none of the tests meant.
    [ "$code" -eq 0 ] || { [ "$code" -eq 5 ] && [ "$1" = pytest ]; } || failed="$failed $name"
}

part style ruff check .
part types mypy
part imports lint-imports
# A browser's driver keeps an event loop in its process, in which no other test can start one of its own.
part tests pytest -n "$workers" -m "not browser" --junitxml "$reports/tests.xml" "$@"
part pages pytest -m browser --junitxml "$reports/pages.xml" "$@"
part gaps python deploy/gaps.py "$reports/tests.xml" "$reports/pages.xml"

if [ -n "$failed" ]; then
    echo "Not in order:$failed"
    exit 1
fi
echo "All in order."
