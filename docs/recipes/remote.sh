#!/bin/sh
# Lets a service check the working folder. LINTSVC_SERVER is its address; LINTSVC_TOKEN holds a token of it, made there
# with `lintsvc token make ci --scope check`, and belongs among the secrets of the CI system.
# Only files that the service does not have are uploaded. Reports and exit status are those of a check made here.
set -eu
: "${LINTSVC_SERVER:?the address of the service}"
exec lintsvc check . --server "$LINTSVC_SERVER" "$@"
