# Everything runs in a virtual environment of its own, .venv, made on first use.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: desk demo test lint bench ablate fuzz mutation golden clean

demo: $(VENV)/ready
	$(BIN)/hitchgrid plan sample_images/boat_number.png --hand-overs any --replace
	@echo "Open output/boat-number/sheet.pdf to print it, output/boat-number/worksheet.html to tie from it."

desk: $(VENV)/ready
	$(BIN)/hitchgrid desk

test: lint
	$(BIN)/python -m pytest -n auto

lint: $(VENV)/ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/ready
	$(BIN)/pip install -q -e '.[bench]'
	$(BIN)/python -m benchmarks.routing --growth

ablate: $(VENV)/ready
	$(BIN)/pip install -q -e '.[bench]'
	$(BIN)/python -m benchmarks.ablate --constants

fuzz: $(VENV)/ready
	$(BIN)/python -m tests.fuzz --count 10000

mutation: $(VENV)/ready
	$(BIN)/python -m tests.mutation --count 10

golden: $(VENV)/ready
	$(BIN)/python -m pytest --update-golden

$(VENV)/ready: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install -q --upgrade pip
	$(BIN)/python -m pip install -q -e '.[svg,test,lint]'
	$(BIN)/python -c "from pipeline.routing.warm import compile_all; compile_all()"  # compile once, so that the first plan is quick
	touch $@

clean:
	rm -rf $(VENV) build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis
