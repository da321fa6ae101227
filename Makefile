# Two commands do all the set-up: `make demo` runs the main job, `make check` runs every check.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := build/demo

.PHONY: help demo check long bench study study-patterns study-forecast study-shafts study-teeth picture notebook clean
.DEFAULT_GOAL := help

help:
	@echo "make demo    set up, run the demo job from survey to handover, and say where the PDF lies"
	@echo "make check   set up, then lint, types, import layers, doctests and all tests"
	@echo "make long    the long suites: large simulations, and the pages in a browser (Debian: apt-get install chromium)"
	@echo "make bench   speed, as ratios within one run"
	@echo "make study   false alarms, detection and confusion of the diagnosis, on simulations"
	@echo "make study-patterns  false claims and detection of the gear patterns, on simulations"
	@echo "make study-shafts  the same of the patterns of shafts, motor, oil and sensors"
	@echo "make study-teeth  how often unknown tooth counts are found, and whether the odds come true, on simulations"
	@echo "make study-forecast  whether forecast dates come true and how often noise looks like a trend or step, on simulations"
	@echo "make picture the pictures of README and docs, from the demo"
	@echo "make notebook  run docs/indicators.ipynb again, its outputs kept in it"
	@echo "make clean   remove what was built; jobs you made elsewhere stay"

$(VENV)/python: Makefile
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null \
	  || { echo "gearcase needs Python 3.11 or newer; '$(PYTHON)' is not. Name one: make PYTHON=python3.12 $(MAKECMDGOALS)"; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null \
	  || { echo "'$(PYTHON)' lacks the venv module; on Debian: apt-get install python3-venv"; exit 1; }
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/run: $(VENV)/python pyproject.toml constraints.txt
	@$(BIN)/pip install --quiet --disable-pip-version-check -c constraints.txt -e . \
	  || { echo "could not install: the package registry must be reachable, or see the line above"; exit 1; }
	@touch $@

$(VENV)/dev: $(VENV)/run
	@$(BIN)/pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[dev]' \
	  || { echo "could not install: the package registry must be reachable, or see the line above"; exit 1; }
	@touch $@

demo: $(VENV)/run
	@$(BIN)/python examples/demo/run.py $(DEMO)

check: $(VENV)/dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest -n 2 --dist worksteal

long: $(VENV)/dev
	$(BIN)/pytest -m long

bench: $(VENV)/dev
	$(BIN)/python benchmarks/run.py
	$(BIN)/python benchmarks/signals.py
	$(BIN)/python benchmarks/many.py
	$(BIN)/python benchmarks/drive.py
	$(BIN)/python benchmarks/watch.py
	$(BIN)/python benchmarks/bus.py
	$(BIN)/python benchmarks/store.py
	$(BIN)/python benchmarks/plan.py
	$(BIN)/python benchmarks/inference.py

study: $(VENV)/dev
	$(BIN)/python -m studies.diagnosis

study-shafts: $(VENV)/dev
	$(BIN)/python -m studies.shaft_patterns

study-teeth: $(VENV)/dev
	$(BIN)/python -m studies.inference

study-patterns: $(VENV)/dev
	$(BIN)/python -m studies.patterns

study-forecast: $(VENV)/dev
	$(BIN)/python -m studies.forecast

picture: demo $(VENV)/dev
	$(BIN)/python tools/make_pictures.py $(DEMO)

notebook: $(VENV)/dev
	$(BIN)/python tools/run_notebook.py

clean:
	rm -rf build .venv .mypy_cache .ruff_cache .pytest_cache .hypothesis
