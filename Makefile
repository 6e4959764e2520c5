# partwright: `make` alone prints what can be made. Everything is made inside this folder.
SHELL := /bin/sh
.DEFAULT_GOAL := help

VENV := .venv
PY := $(VENV)/bin/python
RUNTIME := $(VENV)/.partwright-runtime
DEVELOP := $(VENV)/.partwright-develop
PIP := $(PY) -m pip --disable-pip-version-check
UV_VERSION := 0.13.9

# The newest python3 from 3.11 on that can make a virtual environment; say `make PYTHON=...` to choose another.
PYTHON ?= $(shell for name in $$(seq -f 'python3.%g' 20 -1 11) python3 python; do \
    path=$$(command -v $$name 2>/dev/null) || continue; \
    "$$path" -c 'import ensurepip, sys, venv; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1 || continue; \
    echo "$$path"; break; done)

.PHONY: help install demo test test-all lint bench lock docs clean

help: ## print this list
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-10s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

install: $(RUNTIME) ## make .venv with the program in it
	@echo "partwright is in $(VENV)/bin/partwright"

demo: $(RUNTIME) ## make the demonstration lesson in ./demo and build all of it
	@$(VENV)/bin/partwright demo demo

test: lint ## lint, then every test but the wide ones
	$(PY) -m pytest -q -n 2 -m "not slow"

test-all: lint ## lint, then every test, with examples drawn afresh
	$(PY) -m pytest -q -n 2 --hypothesis-profile wide

lint: $(DEVELOP) ## style, types and layers
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports

bench: $(DEVELOP) ## measure; results are kept in bench/results
	@for script in bench/bench_*.py; do echo "== $$script"; $(PY) $$script || exit 1; done

docs: $(DEVELOP) ## write docs/commands.md afresh from --help
	$(PY) docs/write_commands.py

lock: $(RUNTIME) ## choose and lock the newest dependencies again
	$(PIP) install -q uv==$(UV_VERSION)
	$(PY) -m uv pip compile -q --universal --upgrade --generate-hashes --python-version 3.11 --no-emit-index-url \
	    --no-emit-find-links --no-annotate --no-header --group build --output-file requirements.lock pyproject.toml
	$(PY) -m uv pip compile -q --universal --upgrade --generate-hashes --python-version 3.11 --no-emit-index-url \
	    --no-emit-find-links --no-annotate --no-header --constraint requirements.lock --extra dev --group build \
	    --output-file requirements-dev.lock pyproject.toml

clean: ## remove what tests, benches and lint leave behind; .venv and lessons stay
	rm -rf build dist .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis .benchmarks
	find src tests bench docs -name __pycache__ -type d -prune -exec rm -rf {} +

$(PY):
	@test -n "$(PYTHON)" || { echo "No python3 from 3.11 on that can make a virtual environment was found." \
	    "Install one (on Debian: python3 and python3-venv), or say make PYTHON=/path/to/python3."; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(RUNTIME): requirements.lock pyproject.toml | $(PY)
	$(PIP) install -q --require-hashes -r requirements.lock
	$(PIP) install -q --no-deps --no-build-isolation --editable .
	$(PY) -m compileall -q src/partwright
	@touch $@

$(DEVELOP): requirements-dev.lock $(RUNTIME)
	$(PIP) install -q --require-hashes -r requirements-dev.lock
	@touch $@
