#!/bin/sh
# Writes deploy/lock.txt (what runs) and deploy/lock-dev.txt (what tests as well) anew from pyproject.toml.
# Needs pip-compile, of the package pip-tools. Only names, versions and hashes are kept.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
printf 'setuptools>=80\n' > "$work/build.in"

compile() {
    target=$1
    shift
    pip-compile --quiet --generate-hashes --allow-unsafe --strip-extras --no-header --no-annotate \
        --no-emit-index-url --no-emit-find-links --no-emit-trusted-host --no-emit-options \
        "$@" --output-file "$work/$target" pyproject.toml "$work/build.in"
    sed '/^[[:space:]]*#/d;/^$/d' "$work/$target" > "deploy/$target"
}

compile lock.txt
compile lock-dev.txt --extra dev --constraint deploy/lock.txt
