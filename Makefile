# make demo    three simulated boards are tested; installs what mitbench itself needs
# make check   style, types and the quick tests; installs with pip only
# make test    everything
#
# All of it goes into the folder VENV (default .venv) beside this file; nothing else on the machine is touched.

PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: help demo check test lint quick performance clean

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

test: lint
	$(BIN)/pytest -n 2

performance: $(VENV)/usable
	$(BIN)/python tests/performance/measure.py

clean:
	rm -rf .venv dist build .pytest_cache .mypy_cache .ruff_cache
