# Everything that a fresh machine needs, in two commands: `make demo` and `make test`. Each makes its own environment.

PYTHON ?= python3
DEMO_ENV := .venv-demo
TEST_ENV := .venv-test
SAMPLES := synthetic_samples/samples
DEMO_PHOTOS := $(wordlist 1,3,$(sort $(wildcard $(SAMPLES)/images/*.jpg)))

.PHONY: demo test check lint bench clean

demo: $(DEMO_ENV)/ready  ## identify the committed sample photos, without torch
	@for photo in $(DEMO_PHOTOS); do printf '\n==== %s\n\n' $$photo; $(DEMO_ENV)/bin/hoistlore identify $$photo || exit 1; done
	@mkdir -p out/demo
	@$(DEMO_ENV)/bin/hoistlore identify --each $(SAMPLES)/images/*.jpg --overlay out/demo > out/demo/answers.jsonl
	@printf '\n%s sample photos answered: out/demo/answers.jsonl; drawn on: out/demo/*.overlay.jpg\n' "$$(wc -l < out/demo/answers.jsonl)"

test: $(TEST_ENV)/ready  ## every test
	$(TEST_ENV)/bin/python -m pytest -q

lint: $(TEST_ENV)/ready
	$(TEST_ENV)/bin/ruff check .

check: lint test  ## what has to pass before a change goes in

bench: $(TEST_ENV)/ready  ## speed and memory of the serving path against the naive route
	$(TEST_ENV)/bin/python -m tests.bench

clean:
	rm -rf $(DEMO_ENV) $(TEST_ENV) build *.egg-info

$(DEMO_ENV)/ready: pyproject.toml $(wildcard classifier/* classifier/weights/* guidance/* guidance/demo_catalogue/* api/*)
	$(PYTHON) -m venv $(DEMO_ENV)
	rm -rf build  # left there, it would smuggle files that are gone into the installation
	$(DEMO_ENV)/bin/python -m pip install -q .
	@touch $@

# torch and torchvision must match each other, so that all extras are resolved in one command.
$(TEST_ENV)/ready: pyproject.toml
	$(PYTHON) -m venv $(TEST_ENV)
	$(TEST_ENV)/bin/python -m pip install -q -e '.[train,test]'
	@touch $@
