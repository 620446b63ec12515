# make demo    three simulated boards are tested; installs what mitbench itself needs
# make check   style, types and the quick tests; installs with pip only
# make test    everything; installs compilers and simulators with apt-get where they are missing
# make cosim   both firmware images in one simulated circuit; then make -s cosim-run PROFILE=name [PROCEDURE=name]
#              [DEFECT=name] [SEED=n] tests the board in it, and make -s cosim-defects lists the defects
#
# What pip installs goes into the folder VENV (default .venv) beside this file; what is built goes into build folders.
# Only `test`, `cosim` and `cosim-run` install system packages.

PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: help demo check test lint quick performance clean toolchain cosim cosim-run cosim-defects

help:
	@sed -n '1,/^$$/s/^# \{0,1\}//p' Makefile

$(VENV)/usable: pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 10))' \
	  || { echo "mitbench needs Python 3.10 or newer; name one with: make PYTHON=python3.11"; exit 1; }
	@echo "Installing into $(VENV) with pip: mitbench with click, jinja2, pydantic, pyserial,"
	@echo "python-statemachine, pyyaml and rich."
	@$(PYTHON) -m venv $(VENV)
	@$(PIP) -e .
	@touch $@

$(VENV)/testable: $(VENV)/usable
	@echo "Installing into $(VENV) with pip: pytest, pytest-xdist, hypothesis, jsonschema, rtamt, ruff and mypy."
	@$(PIP) -e '.[test,lint]'
	@touch $@

demo: $(VENV)/usable
	@$(BIN)/mitbench demo

lint: $(VENV)/testable
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy

quick: $(VENV)/testable
	$(BIN)/pytest -n 2 -m "not slow"

check: lint quick

# The images are built before two test processes could want to build them at once.
test: toolchain lint
	-@$(BIN)/python -m tests.cosim.build
	$(BIN)/pytest -n 2

# What the firmware tests need beyond pip; says in one sentence what cannot be had, and is content.
toolchain:
	@bash .ci/toolchain >&2

SIMAVR := build/cosim/include/simavr
build/cosim/harness.so: $(wildcard tests/cosim/harness/*.[ch])
	@mkdir -p $(@D)
	$(CC) -std=gnu11 -O2 -g -Wall -Wextra -Werror -shared -fPIC -isystem $(SIMAVR) \
	  -o $@.new tests/cosim/harness/*.c -l:libsimavr.so.2 -lm && mv $@.new $@

cosim: toolchain $(VENV)/usable
	@$(BIN)/python -m tests.cosim.build

# Prints the run's JSON and nothing else; what it ends with is the run's exit code, as far as make passes it on.
cosim-run:
	@$(if $(PROFILE),,echo "write PROFILE=name, one of: mitbench profile list" >&2; exit 2)
	@$(MAKE) -s cosim >&2
	@$(BIN)/python -m tests.cosim.command run $(PROFILE) --json \
	  $(if $(PROCEDURE),--procedure $(or $(wildcard firmware_ref/board/procedures/$(PROCEDURE).yaml),$(PROCEDURE))) \
	  --fixture 'cosim://?profile=$(PROFILE)$(if $(DEFECT),&defect=$(DEFECT))$(if $(SEED),&seed=$(SEED))'

cosim-defects:
	@sed -n '2,$$s/,.*//p' firmware_ref/board/defects.csv

performance: $(VENV)/usable
	$(BIN)/python tests/performance/measure.py

clean:
	rm -rf .venv dist build .pytest_cache .mypy_cache .ruff_cache
