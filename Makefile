# Everything a person or CI runs. `make quote` is the main job; `make help` lists the rest.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
RUN := $(BIN)/blankwright
QUOTES ?= 200
# Tests run beside each other in so many processes; 0 for one after the other.
BESIDE ?= 2

.DEFAULT_GOAL := help
.PHONY: help quote up down status bench fuzz drill shares compose-test client client-check pages-check test test-unit test-outside test-laws test-architecture test-integration test-system test-upgrade upgrade-test laws mutants check format lock clean

help:  ## list the targets
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 20

quote: $(VENV)/installed  ## quote the demo lens end to end, through the real queue, and stop again
	@$(RUN) demo

up: $(VENV)/installed  ## start the one box and leave it running
	@$(RUN) up

down: $(VENV)/installed  ## stop the one box
	@$(RUN) down

status: $(VENV)/installed  ## say whether the one box runs, and where
	@$(RUN) status

test: $(VENV)/installed-dev  ## every tier that needs no container engine
	$(BIN)/python -m pytest tests -n $(BESIDE)

test-unit test-outside test-laws test-architecture test-integration test-system test-upgrade: test-%: $(VENV)/installed-dev  ## one tier
	$(BIN)/python -m pytest tests/$*

upgrade-test: test-upgrade  ## databases of earlier states brought up to date, read, quoted and requoted

laws: $(VENV)/installed-dev  ## rooms held against each other over more drawn elements; LAWS_DRAWN=50000, another seed with LAWS_SEED=7
	LAWS_DRAWN_ESTIMATES=$(or $(LAWS_DRAWN_ESTIMATES),50) LAWS_DRAWN_PRICES=$(or $(LAWS_DRAWN_PRICES),25) LAWS_DRAWN_DATES=$(or $(LAWS_DRAWN_DATES),150) DATED_ORDERS_WITH_BOOK=400 LAWS_DRAWN=$(or $(LAWS_DRAWN),20000) LAWS_SEED=$(or $(LAWS_SEED),11) $(BIN)/python -m pytest tests/laws tests/outside/test_quoting_simulated_shop.py

mutants: $(VENV)/installed-dev  ## 80 small changes, one at a time in a copy of the tree: which does a test notice? more with MUTANTS="--seed 7 --only services/glass"
	$(BIN)/python -u -m tests.mutants $(MUTANTS)

bench: $(VENV)/installed-dev  ## how long quotes and their parts take, beside the floor of the queue; ratios within one run
	$(BIN)/python -m tests.bench

fuzz: $(VENV)/installed-dev  ## the running suite against its own description, every role; more with FUZZ="--examples 100 --thorough"
	$(BIN)/python -u -m tests.fuzz $(FUZZ)

drill: $(VENV)/installed-dev  ## quotes under load while every part in turn is killed, cut off or starved; QUOTES=10000 for a long one
	$(BIN)/python -u -m tests.drill $(QUOTES)

shares: $(VENV)/installed-dev  ## ten keys on one box, one of them hostile: what the honest ones wait
	$(BIN)/python -u -m tests.drill.shares

compose-test: $(VENV)/installed-dev  ## the fleet of compose.yaml in containers: up, tried, taken down (needs docker compose)
	@$(BIN)/python -m tests.compose

client: $(VENV)/installed-dev  ## the client as a wheel of its own in dist/, installed alone and its examples run against a box; needs a network
	@$(BIN)/python -u -m tests.client_wheel dist

client-check: $(VENV)/installed-dev  ## clients of two public generators, made and used against a box; needs node, npm and a network; one with ONLY=python
	@$(BIN)/python -u -m tests.clients $(if $(ONLY),--only $(ONLY))

pages-check: $(VENV)/installed-dev  ## the pages of the desk in a Chromium that is installed, held against axe-core; pictures go to a temporary folder
	@$(BIN)/python -m tests.pages

check: $(VENV)/installed-dev  ## formatting, lint, types, import rules, known weaknesses, secrets; writes nothing
	$(BIN)/ruff format --check --no-cache .
	$(BIN)/ruff check --no-cache .
	$(BIN)/mypy --cache-dir=/dev/null
	$(BIN)/python -m pytest tests/architecture
	$(BIN)/bandit -q -c pyproject.toml -r services shared_schemas
	@git ls-files -z --cached --others --exclude-standard | xargs -0 $(BIN)/detect-secrets-hook --no-verify \
	    --exclude-files '\.lock$$' --exclude-lines 'secretName: ' --exclude-secrets '^(for-tests|from-file|bw_0_0)$$' && echo 'detect-secrets: no secret in the files of the repository'
	@$(BIN)/python -m tests.advisories

format: $(VENV)/installed-dev  ## mend formatting and what lint can mend
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

lock: $(VENV)/installed-dev  ## pin the dependencies anew, with hashes and without index addresses
	$(BIN)/uv pip compile pyproject.toml --extra embedded --universal --generate-hashes --no-emit-index-url -q -o requirements.lock
	$(BIN)/uv pip compile pyproject.toml --extra embedded --extra telemetry -c requirements.lock --universal --generate-hashes \
	    --no-emit-index-url -q -o requirements-telemetry.lock
	$(BIN)/uv pip compile pyproject.toml --extra embedded --extra telemetry --extra dev -c requirements.lock --universal --generate-hashes \
	    --no-emit-index-url -q -o requirements-dev.lock

clean: down  ## remove the environment and the one box with all its data
	rm -rf $(VENV) .blankwright

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	    { echo "Blankwright needs Python 3.11 or newer; $(PYTHON) is $$($(PYTHON) --version 2>&1). Set PYTHON=python3.12, say." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/installed: requirements.lock pyproject.toml | $(VENV)/bin/python
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/installed-dev: requirements-dev.lock $(VENV)/installed
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	@touch $@
