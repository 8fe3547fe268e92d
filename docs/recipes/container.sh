#!/bin/sh
# Checks the working folder in a container: nothing is installed, the parts are only read, nothing reaches the network.
# Build the image once, in the checkout of lintsvc: docker build -f docker/Dockerfile -t lintsvc .
set -eu
exec docker run --rm --network none --read-only --tmpfs /tmp --tmpfs /state:uid=10001 \
  --volume "$PWD:/parts:ro" --workdir /parts lintsvc lintsvc check . --no-cache "$@"
