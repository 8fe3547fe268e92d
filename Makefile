# Two commands: `make serve` and `make test`. Both set themselves up.
PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11; do \
	command -v $$p >/dev/null 2>&1 && $$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' && echo $$p && break; done)
BIN := .venv/bin

.PHONY: serve test docs bench style ready ready-for-tests lock clean

serve: ready
	@$(BIN)/lintsvc warm
	@exec $(BIN)/lintsvc serve

test: ready-for-tests style
	$(BIN)/lintsvc warm
	$(BIN)/python tools/run_tests.py

# Style, types and layers.
style: ready-for-tests
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python tools/check_page.py

# The documents as a site in build/docs, made from the code, the rules and their fixtures.
docs: ready-for-tests
	$(BIN)/python tools/docs_site.py

bench: ready-for-tests
	$(BIN)/python -m bench

ready:
	@test -n "$(PYTHON)" || { echo "lintsvc needs Python 3.11 or newer; none was found on the PATH."; exit 1; }
	@$(PYTHON) tools/set_up.py

ready-for-tests:
	@test -n "$(PYTHON)" || { echo "lintsvc needs Python 3.11 or newer; none was found on the PATH."; exit 1; }
	@$(PYTHON) tools/set_up.py --test
	@$(BIN)/python tools/system_needs.py

lock:
	PATH="$(CURDIR)/$(BIN):$$PATH" tools/lock.sh

clean:
	rm -rf .venv lintsvc/web/static lintsvc/web/page/node_modules
