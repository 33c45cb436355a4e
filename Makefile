# Two commands matter: `make demo` does the main job, `make test` checks everything.
# Both set up .venv by themselves on a machine with Python >= 3.11, make and a C compiler.
PYTHON ?= python3
BIN := .venv/bin
export PYTHONDONTWRITEBYTECODE =
# Small matrices gain nothing from more BLAS threads and lose a lot on a busy machine.
export OPENBLAS_NUM_THREADS ?= 1

# Much of it uses one core: checks run beside the compiling of what is compiled at first use, and, where both are asked
# for, the docs beside the tests.
MAKEFLAGS += --jobs=2

.PHONY: demo test checks kernels bench docs serve setup lock screenshots clean

demo: .venv/ready
	$(BIN)/python examples/demo.py

# Three workers for two cores: where a test waits for a browser or for a process of its own, another has its core.
# Files go to them in the order of tests/conftest.py.
test: checks kernels
	$(BIN)/pytest -n 3 --dist loadfile --no-loadscope-reorder

checks: .venv/ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/oxlint -c .oxlintrc.json --quiet src/planish/web/static
	$(BIN)/python tools/find_browser.py

kernels: .venv/ready
	$(BIN)/python tools/compile_kernels.py

bench: .venv/ready-bench
	$(BIN)/python benchmarks/all.py

docs: .venv/ready-docs kernels
	$(BIN)/python docs/make.py

# The pictures in docs/screens: every view of the bench, both themes.
screenshots: .venv/ready-dev
	$(BIN)/python tools/screenshots.py

serve: .venv/ready
	$(BIN)/planish serve

setup: .venv/ready-dev

.venv/bin/python:
	$(PYTHON) -c 'import sys; sys.exit("planish needs Python 3.11 or newer; set PYTHON=python3.11" if sys.version_info < (3, 11) else 0)'
	$(PYTHON) -m venv .venv

# The installer, and what builds planish itself: every download is checked against a hash.
.venv/ready-tools: .venv/bin/python requirements/tools.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/tools.txt
	touch $@

.venv/ready: .venv/ready-tools requirements/run.txt pyproject.toml
	$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements/run.txt
	$(BIN)/uv pip install --quiet --python $(BIN)/python --no-deps --no-build-isolation -e .
	touch $@

.venv/ready-dev: .venv/ready requirements/dev.txt
	$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements/dev.txt
	$(BIN)/uv pip install --quiet --python $(BIN)/python --no-deps --require-hashes -r requirements/cells.txt
	touch $@

.venv/ready-bench: .venv/ready-dev requirements/bench.txt
	$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements/bench.txt
	touch $@

.venv/ready-docs: .venv/ready requirements/docs.txt
	$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements/docs.txt
	touch $@

# Resolve anew and write the exact versions, with their hashes, that everybody installs.
COMPILE := $(BIN)/uv pip compile --quiet --generate-hashes --universal --python-version 3.11 --no-annotate --no-header
lock: .venv/ready-tools
	$(COMPILE) pyproject.toml --extra choose -o requirements/run.txt
	$(COMPILE) pyproject.toml --extra choose --group dev -o requirements/dev.txt
	$(COMPILE) pyproject.toml --extra choose --group dev --group bench -o requirements/bench.txt
	$(COMPILE) pyproject.toml --extra choose --group docs -o requirements/docs.txt

clean:
	rm -rf out build dist
