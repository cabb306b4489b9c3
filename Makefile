# Set-up and checks. Needs make and Python 3.11 or newer, nothing else.
#   make setup PYTHON=/path/to/python3    use another Python
#   make test PYTEST_ARGS='-k lease -x'   run some of the tests

PYTHON ?= python3
# Where Python is told to keep no compiled modules, every process that a test starts compiles all
# of them, and every test process the tests too: hundreds of times.
unexport PYTHONDONTWRITEBYTECODE
# The slow tests stand together: a process that has nothing left takes some of them over.
PYTEST_ARGS ?= -n auto --dist worksteal
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.setup-done

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help setup system demo test joints-c fast lint types imports lab steps updates bench campaign mutants mutants-c explore

help: ## Show these targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-9s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: $(STAMP) ## Create or refresh .venv with everything that running and testing need

# Nothing is done while neither file has changed. An environment that is whole is kept; one that
# was cut short, or whose Python is gone, is made anew.
$(STAMP): pyproject.toml constraints.txt
	@command -v '$(PYTHON)' >/dev/null || { \
	    echo "Unisono needs Python 3.11 or newer, and '$(PYTHON)' was not found: install it, or name another with 'make setup PYTHON=/path/to/python3'." >&2; exit 1; }
	@'$(PYTHON)' -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	    echo "Unisono needs Python 3.11 or newer, and '$(PYTHON)' is $$('$(PYTHON)' -c 'import platform; print(platform.python_version())'): name a newer one with 'make setup PYTHON=/path/to/python3'." >&2; exit 1; }
	@'$(PYTHON)' -c 'import ensurepip, venv' 2>/dev/null || { \
	    echo "'$(PYTHON)' lacks the venv or ensurepip module, which setting up .venv needs: install them (on Debian: apt-get install python3-venv)." >&2; exit 1; }
	@$(BIN)/python -m pip --version >/dev/null 2>&1 || '$(PYTHON)' -m venv --clear $(VENV)
	@echo "Installing into $(VENV); the first time takes a minute or two."
	@$(BIN)/python -m pip install -qq --disable-pip-version-check -c constraints.txt -e '.[test]'
	@touch $@

# The tests check the joints' clocks with an NTP client that is not ours, the page in a browser and
# the unit file with systemd's own reader, start a PostgreSQL server, and make networks of their own. Chromium without windows
# is quicker, and not to be had everywhere: the tests do without.
system: ## Install what the tests use beside Python, where missing: chrony, gcc (for RISC-V too), libsodium, qemu, Chromium, systemd-analyze, ip, PostgreSQL
	@PATH="$$PATH:/usr/sbin:/usr/local/sbin"; \
	missing=; quicker=; \
	command -v chronyd >/dev/null || missing="$$missing chrony"; \
	command -v gcc >/dev/null || missing="$$missing gcc libc6-dev"; \
	[ -e /usr/include/sodium.h ] || missing="$$missing libsodium-dev"; \
	command -v chromium >/dev/null || missing="$$missing chromium fonts-dejavu-core"; \
	command -v chromium-headless-shell >/dev/null || quicker=chromium-headless-shell; \
	command -v systemd-analyze >/dev/null || missing="$$missing systemd"; \
	command -v ip >/dev/null || missing="$$missing iproute2"; \
	command -v riscv64-unknown-elf-gcc >/dev/null || missing="$$missing gcc-riscv64-unknown-elf picolibc-riscv64-unknown-elf"; \
	command -v qemu-system-riscv32 >/dev/null || missing="$$missing qemu-system-misc"; \
	ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || command -v initdb >/dev/null || missing="$$missing postgresql"; \
	[ -n "$$missing$$quicker" ] || exit 0; \
	if [ "$$(id -u)" = 0 ]; then root='env'; else root='sudo -n env'; fi; \
	if command -v apt-get >/dev/null && $$root true 2>/dev/null; then \
	    echo "Installing$$missing $$quicker with apt-get."; \
	    $$root DEBIAN_FRONTEND=noninteractive apt-get update -qq && \
	    install="$$root DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends" && \
	    { [ -z "$$missing" ] || $$install $$missing >/dev/null; } && \
	    { [ -z "$$quicker" ] || $$install $$quicker >/dev/null || true; } && \
	    command -v chronyd >/dev/null && command -v gcc >/dev/null && command -v chromium >/dev/null && \
	    command -v systemd-analyze >/dev/null && command -v ip >/dev/null && \
	    command -v riscv64-unknown-elf-gcc >/dev/null && command -v qemu-system-riscv32 >/dev/null && \
	    { ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || command -v initdb >/dev/null; } && \
	    [ -e /usr/include/sodium.h ] && exit 0; \
	fi; \
	[ -n "$$missing" ] || exit 0; \
	echo "The tests need$$missing, not found here and not to be installed from here: run 'sudo apt-get install$$missing' (or your system's counterpart) first." >&2; \
	exit 1

demo: setup ## Run the demo arm: software joints, found, homed, started together
	@$(BIN)/unisono demo

test: setup system ## Run the tests
	$(BIN)/python -m pytest --ignore tests/compiled $(PYTEST_ARGS)

# What runs compiled is the same to the last bit; its tests need the build, so they come with it.
fast: setup ## Compile what plays in virtual time, and test that it stays the same
	$(BIN)/python -m fast
	$(BIN)/python -m pytest -q tests/compiled

# `make test` has some of them on joints in C; here are all of those that are about joints, on C joints and on mixed ones.
joints-c: setup system ## Run the end-to-end tests on joints in C, all of them and every second one
	UNISONO_TEST_JOINTS='c mixed' $(BIN)/python -m pytest -n 0 -m joints tests/e2e tests/joint_c

lint: setup ## Check style and format
	$(BIN)/ruff check
	$(BIN)/ruff format --check

types: setup ## Check types
	$(BIN)/mypy

imports: setup ## Check which package may import which
	$(BIN)/lint-imports

# Every `make test` has these tests too, shortened to what shows the same faults.
lab: setup system ## Test on real network stacks, at full length (LAB_ARGS='-k gap' takes some)
	UNISONO_LAB=long $(BIN)/python -m pytest --timeout 1800 tests/lab $(LAB_ARGS)

# 60 of them in every `make test`.
steps: setup system ## Ask for 1,000 steps on the page over hostile links, and look where they end
	UNISONO_LAB=long $(BIN)/python -m pytest -q -n 0 -s tests/browser/test_steps.py

# 30 of them in every `make test`, and one at each step on the disk.
updates: setup system ## Cut the power 1,000 times while a board in C gets firmware, and look what comes up
	$(MAKE) -s -C deploy/joint joint next
	$(BIN)/python -m tests.bench.joint_c_updates deploy/joint/build 1000

# BENCH_ARGS='--tables guarantee outages --networks quiet' measures a part; '--help' lists the sizes.
# All of it takes hours of processor time, most of that in virtual time.
bench: setup ## Measure (BENCH_ARGS=… says what and how often)
	@$(BIN)/python -m tests.bench $(BENCH_ARGS)

# CLUSTER=tcp://… has it done by a dask.distributed cluster whose workers run in this tree.
campaign: setup ## Try to break the coordinator (SEED=… replays one, SCENARIOS=… how many, JOINTS=c or mixed)
	@SEED='$(SEED)' SCENARIOS='$(SCENARIOS)' CLUSTER='$(CLUSTER)' JOINTS='$(JOINTS)' $(BIN)/python -m tests.campaign

mutants: setup ## Show that the campaign finds faults put in on purpose
	@$(BIN)/python -m tests.campaign.hunting

# ONLY='part of a name' chooses faults, PARTS='sequences campaign' who is asked.
mutants-c: setup system ## Show that faults put into the joint in C are found, and by what
	@$(BIN)/python -m tests.campaign.mutants_c

# FAMILIES='start hold' searches some; REPLAY='start 17=lost 25=lost' runs one schedule alone.
explore: setup ## Search all schedules of a small arm, to a stated depth
	@$(BIN)/python -m tests.explore $(if $(FAMILIES),--families $(FAMILIES)) $(if $(REPLAY),--replay '$(REPLAY)')
