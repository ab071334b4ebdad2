# Read by try.sh and test.sh: makes .venv from a lock file, once, and again when the lock file has changed.

find_python() {
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if command -v "$name" > /dev/null 2>&1 &&
            "$name" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2> /dev/null; then
            echo "$name"
            return
        fi
    done
    echo "Python 3.11 or later with venv is needed and was not found; on Debian install python3-venv." >&2
    exit 2
}

# The environment of test.sh holds all that try.sh needs, so that either may follow the other.
make_environment() {
    lock=$1
    made=.venv/lock.sum
    wanted=$(cat "$lock" pyproject.toml | cksum)
    larger=$(cat deploy/lock-dev.txt pyproject.toml | cksum)
    if [ -f "$made" ] && { [ "$(cat "$made")" = "$wanted" ] || [ "$(cat "$made")" = "$larger" ]; }; then
        return
    fi
    echo "Making .venv from $lock; the first time this takes a minute." >&2
    python=$(find_python)
    rm -f "$made"
    "$python" -m venv .venv
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r "$lock"
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
    echo "$wanted" > "$made"
}
