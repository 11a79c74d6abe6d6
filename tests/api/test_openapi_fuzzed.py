"""Schemathesis asks the whole API what its description promises, with what fits it and with what does not."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from api.cases.store import Said, Who
from api.settings import Settings
from tests.api.conftest import Served

ROOT = Path(__file__).parents[2]
AGENT, ADMINISTRATOR = "an agent's long token", "an administrator's token"
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
CASES = 40

CONFIG = """
hooks = {hooks}
request-timeout = 20.0
warnings = false

[generation]
max-examples = 40
deterministic = true

[parameters]
"path.case_id" = {{ dictionary = "cases", probability = 0.7 }}

[dictionaries.cases]
values = {cases}

[checks]
enabled = true

# That a text names a question of the catalogue, and that bytes are a photo, no schema can say.
[[operations]]
include-path-regex = "^/v1/(identifications|overlays|troubleshooting)$"
checks.positive_data_acceptance.enabled = false
"""


@pytest.fixture
def office(served: Callable[[Settings], Served], own_settings: Callable[..., Settings], monkeypatch) -> Served:
    """A server with tokens, whose streams end at once when there is no news, so that they can be read whole."""
    monkeypatch.setattr("api.cases.changes.LONGEST_S", 0.0)
    tokens = {"agent_token": AGENT, "administrator_token": ADMINISTRATOR}
    return served(own_settings(**tokens))


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("token", "routes"),
    [("", "^/"), (AGENT, "^/v1/(cases|audit)"), (ADMINISTRATOR, "^/v1/(cases|audit)")],
    ids=["nobody", "agent", "administrator"],
)
def test_the_api_keeps_what_its_description_promises(office: Served, tmp_path: Path, token: str, routes: str) -> None:
    """No fault of ours, no status, content type or document that is not described, and what does not fit is refused."""
    ids = [office.app.state.cases.start("en", Who("caregiver"), NOBODY_UP)[0] for _ in range(CASES)]
    config = tmp_path / "schemathesis.toml"
    hooks = json.dumps(str(Path(__file__).with_name("fuzzed_photos.py")))
    config.write_text(CONFIG.format(hooks=hooks, cases=json.dumps(ids)), "utf-8")
    command = [sys.executable, "-m", "schemathesis.cli", "--no-color", "--config-file", str(config), "run"]
    options = ["--phases", "coverage,fuzzing", "--include-path-regex", routes]
    options += ["--header", f"Authorization: Bearer {token}"] if token else []
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [*command, f"{office.url}/openapi.json", *options],
        capture_output=True, text=True, timeout=120, cwd=tmp_path, env=environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    described = office.app.openapi()["paths"]
    count = sum(len(methods) for path, methods in described.items() if re.match(routes, path))
    assert f"Tested: {count}" in done.stdout
    left = len(office.app.state.cases.listed(CASES))
    assert left < CASES if token == ADMINISTRATOR else left == CASES
