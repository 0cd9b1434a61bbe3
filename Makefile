# Every target is one line of .ci/start.py, which needs Python alone; on Windows: py .ci\start.py demo
PYTHON ?= python3
ARGS ?=

.DEFAULT_GOAL := help
.PHONY: help demo test check fuzz audit bench soak coverage lowest docs lock clean

help:
	@echo "make demo      set up, then the dashboard on the demo line, new readings arriving"
	@echo "make test      set up, the browser included, then the whole gate: lint, format, types, tests"
	@echo "make check     the part of the gate that only reads the code"
	@echo "make audit   whether a weakness of a package in the lock is known (asks the package index)"
	@echo "make bench     speed figures (DEVELOPERS.md says how to read them)"
	@echo "make soak      the board under load for 18 minutes; every entry accounted for"
	@echo "make fuzz      bad input for every reader and page; ARGS='--executions 1000000'"
	@echo "make coverage  every test, and which lines and branches of the program none of them takes"
	@echo "make lowest    the tests on the lowest versions of everything that pyproject.toml allows"
	@echo "make docs      the site of docs/, into build/site"
	@echo "make lock      write requirements.lock anew; ARGS=--upgrade takes the newest versions"
	@echo "make clean     remove .venv and what tools left behind"
	@echo "PYTHON=python3.12 chooses the Python; ARGS='-k rules' goes to the task, pytest for make test"

demo test check fuzz audit bench soak coverage lowest docs lock:
	@command -v $(PYTHON) >/dev/null 2>&1 || { \
	  echo "Cannot go on: $(PYTHON) is not on this machine. Python 3.11 or later is needed."; \
	  echo "  Debian, Ubuntu:  sudo apt-get install python3 python3-venv"; \
	  echo "  Fedora:          sudo dnf install python3"; \
	  echo "  macOS:           the installer of the Python project's own download page"; \
	  exit 2; }
	@$(PYTHON) .ci/start.py $@ $(ARGS)

clean:
	rm -rf .venv .venv-lowest .mypy_cache .ruff_cache .pytest_cache .hypothesis build dist *.egg-info
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
