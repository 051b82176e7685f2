# `make demo` and `make test` are all that a newcomer needs; README.md says what one then sees.
#
# One environment, .venv, holds what a lock file pins: requirements.txt to run, its superset
# requirements-dev.txt to develop and test. A stamp names the lock that was installed in full, by
# its hash; without the stamp the environment counts as half-finished.

PYTHON311 ?= python3.11
VENV := .venv
PYTHON := $(VENV)/bin/python
JOBS ?= 2

short-hash = $(shell sha256sum $(1) | cut -c1-16)
RUNTIME_STAMP := $(VENV)/installed-runtime-$(call short-hash,requirements.txt)
DEVELOPMENT_STAMP := $(VENV)/installed-development-$(call short-hash,requirements-dev.txt)

# Which index and certificate pip uses is the machine's business; what it installs is the lock's.
# /dev/null stands for "no constraints": pip takes an empty setting for none and reads its files.
PIP := env -u PIP_TARGET -u PIP_PREFIX -u PIP_ROOT -u PIP_DRY_RUN -u PIP_NO_BINARY -u PYTHONPATH \
	PIP_CONSTRAINT=/dev/null PIP_USER=0 PIP_REQUIRE_VIRTUALENV=0 PIP_DISABLE_PIP_VERSION_CHECK=1 \
	$(PYTHON) -m pip
INSTALL := $(PIP) install -qq --no-input --no-deps --only-binary=:all: --require-hashes

.PHONY: demo environment environment-dev test lint test-sqlite test-postgres bench check-long \
	lock clean help

help:
	@echo "make demo   the Quayside demo, served on http://127.0.0.1:$${PORT:-8000}/"
	@echo "make test   every check: lint, types, import contract, tests on both databases"

demo: environment
	@$(PYTHON) manage.py migrate --verbosity 0
	@exec $(PYTHON) manage.py up --before-web demo

environment: $(RUNTIME_STAMP)

environment-dev: $(DEVELOPMENT_STAMP)

define make-venv
@command -v $(PYTHON311) >/dev/null || { \
	echo "Python 3.11 is missing here: on Debian 12, apt install python3.11 python3-venv." >&2; exit 1; }
@$(PYTHON311) -c 'import ensurepip, venv' 2>/dev/null || { \
	echo "Python's venv module is missing here: on Debian 12, apt install python3-venv." >&2; exit 1; }
@if ls $(VENV)/installed-* >/dev/null 2>&1 && $(PYTHON) -c '' 2>/dev/null; then :; else \
	echo "Making $(VENV) ..."; $(PYTHON311) -m venv --clear $(VENV); fi
endef

$(RUNTIME_STAMP):
	$(make-venv)
	@echo "Installing what requirements.txt pins ..."
	@rm -f $(VENV)/installed-*
	@$(INSTALL) -r requirements.txt
	@touch $@

$(DEVELOPMENT_STAMP):
	$(make-venv)
	@echo "Installing what requirements-dev.txt pins ..."
	@rm -f $(VENV)/installed-*
	@$(INSTALL) -r requirements-dev.txt
	@touch $(RUNTIME_STAMP) $@

test: lint test-sqlite test-postgres

lint: environment-dev
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/ruff check .
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports --no-cache
	$(PYTHON) manage.py makemigrations --check --dry-run

test-sqlite: environment-dev
	env -u STRONGFLOOR_DATABASE_URL $(PYTHON) -m pytest -n $(JOBS)

# The tests that touch the database, once more, on the production engine.
test-postgres: environment-dev
	@if url=$$($(PYTHON) -m tests.services postgres); then \
		echo "The tests that touch the database, on PostgreSQL:"; \
		STRONGFLOOR_DATABASE_URL=$$url $(PYTHON) -m pytest -n $(JOBS) --database-only; \
	elif [ "$$STRONGFLOOR_REQUIRE_SERVICES" = 1 ]; then exit 1; \
	else echo "SKIPPED, because no PostgreSQL: the second run of the tests, on PostgreSQL"; fi

check-long: environment-dev
	$(PYTHON) -m pytest -m long || { code=$$?; [ $$code = 5 ] && echo "There are no long checks."; }

# The benches of the web side share one large laboratory, which is gone at the end.
bench: environment-dev
	@laboratory=$$(mktemp -d); trap 'rm -rf "$$laboratory"' EXIT; \
	export STRONGFLOOR_BENCH_LABORATORY=$$laboratory; \
	for script in tests/bench/*.py; do \
		case "$$script" in */__init__.py|*/harness.py|*'*'*) continue;; esac; \
		module=$$(echo "$${script%.py}" | tr / .); \
		echo "== $$module"; $(PYTHON) -m "$$module" || exit 1; done

# Needs uv (pip install uv); the runtime lock first, so that the development lock repeats its pins.
# Ready-made wheels for Debian 12 only, because a newcomer's machine need not have a compiler.
COMPILE := uv pip compile --quiet --python-version 3.11 --python-platform x86_64-manylinux_2_36 \
	--only-binary :all: --generate-hashes --no-header --no-annotate
lock:
	$(COMPILE) requirements.in -o requirements.txt
	$(COMPILE) -c requirements.txt requirements-dev.in -o requirements-dev.txt

clean:
	rm -rf $(VENV) build .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
