# Everything that a fresh machine needs, in two commands: `make demo` and `make test`. Each makes its own environment.

PYTHON ?= python3
DEMO_ENV := .venv-demo
TEST_ENV := .venv-test
SAMPLES := synthetic_samples/samples
# A box of a listed generation and a head; a box that hides a side, beside a head; one that the demo catalogue does not list.
DEMO_PHOTOS := $(addprefix $(SAMPLES)/images/,000001.jpg 000034.jpg 000031.jpg)

.PHONY: demo quick test check lint bench evaluate clean

demo: $(DEMO_ENV)/ready  ## identify the committed sample photos, without torch
	@for photo in $(DEMO_PHOTOS); do printf '\n==== %s\n\n' $$photo; $(DEMO_ENV)/bin/hoistlore identify $$photo || exit 1; done
	@mkdir -p out/demo
	@$(DEMO_ENV)/bin/hoistlore identify --each $(SAMPLES)/images/*.jpg --overlay out/demo > out/demo/answers.jsonl
	@printf '\n%s sample photos answered: out/demo/answers.jsonl; drawn on: out/demo/*.overlay.jpg\n' "$$(wc -l < out/demo/answers.jsonl)"

# Each worker keeps to one thread: the workers share the cores. Files stay whole, so that their fixtures are made once.
# Memory is kept for the next array (glibc), where giving it back took a third of the training tests' time.
PYTEST := OMP_NUM_THREADS=1 MALLOC_MMAP_THRESHOLD_=100000000 MALLOC_TRIM_THRESHOLD_=1000000000 $(TEST_ENV)/bin/python -m pytest -q -n auto --dist loadfile --no-loadscope-reorder

quick: $(TEST_ENV)/ready  ## what needs no torch, browser, database server or renderer, and not seconds on end
	$(PYTEST) --quick

test: $(TEST_ENV)/ready  ## every test, on all cores
	$(PYTEST)

lint: $(TEST_ENV)/ready  ## style, formatting, types
	$(TEST_ENV)/bin/ruff check .
	$(TEST_ENV)/bin/ruff format --check .
	$(TEST_ENV)/bin/mypy

check: lint test  ## what has to pass before a change goes in

bench: $(TEST_ENV)/ready  ## speed and memory of the serving path against the naive route
	$(TEST_ENV)/bin/python -m tests.bench

# DATA: folders of held-out renders or stand-ins. PHOTOS and LABELS: photos of your own, with a CSV or COCO JSON file.
DATA ?= synthetic_samples/samples tests/standins/pictures
evaluate: $(TEST_ENV)/ready  ## how well the model reads, as one HTML page
	$(TEST_ENV)/bin/python -m training report $(addprefix --data ,$(DATA)) $(if $(PHOTOS),--photos $(PHOTOS)) \
		$(if $(LABELS),--labels $(LABELS)) --out out/evaluation/report.html

clean:
	rm -rf $(DEMO_ENV) $(TEST_ENV) build *.egg-info

SERVED := $(shell find classifier guidance workers api -type f -not -name '*.pyc')
$(DEMO_ENV)/ready: pyproject.toml $(SERVED)
	$(PYTHON) -m venv $(DEMO_ENV)
	rm -rf build  # left there, it would smuggle files that are gone into the installation
	$(DEMO_ENV)/bin/python -m pip install -q .
	@touch $@

# What the tests need of the system, by Debian's names: installed when that is possible, otherwise named.
define SYSTEM_PACKAGES
missing=; for name in chromium npm; do command -v $$name >/dev/null || missing="$$missing $$name"; done; \
command -v initdb >/dev/null || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$$missing postgresql"; \
if [ -z "$$missing" ]; then exit 0; fi; \
if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $$missing; \
else echo "Install these first:$$missing"; exit 1; fi
endef

# torch and torchvision must match each other, so that all extras are resolved in one command.
$(TEST_ENV)/ready: pyproject.toml
	@$(SYSTEM_PACKAGES)
	$(PYTHON) -m venv $(TEST_ENV)
	$(TEST_ENV)/bin/python -m pip install -q -e '.[train,test]'
	npm install --silent --no-fund --no-audit --prefix $(TEST_ENV)/npm axe-core@4 oidc-provider@9
	@touch $@
