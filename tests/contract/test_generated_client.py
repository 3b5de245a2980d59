"""A client that a program makes from the OpenAPI document compiles and evaluates a check.

`openapi-python-client` is a general generator; bodies of lines and of tables it leaves out, and it
says so.
"""

import compileall
import json
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.document import document_bytes

LOSS = next(kind for kind in KINDS if kind.slug == "simulated-loss")


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder of a package `made_client`, importable while the test runs."""
    folder = tmp_path_factory.mktemp("generated")
    (folder / "api.json").write_bytes(document_bytes())
    # Otherwise it would tidy what it wrote with programs of its choice.
    (folder / "config.yml").write_text("post_hooks: []\n", "utf-8")
    program = Path(sys.executable).with_name("openapi-python-client")
    subprocess.run(
        [program, "generate", "--path", "api.json", "--config", "config.yml", "--meta", "none",
         "--output-path", "made_client"],
        cwd=folder, check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    sys.path.insert(0, str(folder))
    yield folder / "made_client"
    sys.path.remove(str(folder))


def test_it_compiles_and_has_every_operation(generated: Path, document: dict[str, Any]) -> None:
    assert compileall.compile_dir(generated, quiet=2)
    made = {file.stem for file in (generated / "api").rglob("*.py")}
    operations = [one for path in document["paths"].values() for one in path.values()]
    missing = {one["operationId"] for one in operations} - made
    assert missing == set()


def test_it_evaluates_a_check(generated: Path, live_service: str) -> None:
    client = import_module("made_client").Client(base_url=live_service)
    check = import_module("made_client.api.checks.check_simulated_loss")
    models = import_module("made_client.models")
    request = models.SimulatedLossCheck.from_dict(LOSS.example["request"])
    with client:
        answer = check.sync(client=client, body=request)
    assert isinstance(answer, models.Answer)
    shown = LOSS.example["answer"]
    # By hand: 100·2.001/12.002 = 16.672 221 30 %, 100·(1 - 10.00012/12.00012) = 16.666 500 00 %.
    assert answer.criteria[0].value == pytest.approx(16.67222130 - 16.66650000, abs=2e-8)
    assert answer.verdict == shown["verdict"]
    assert answer.to_dict()["findings"] == shown["findings"]


def test_a_refusal_is_a_problem_with_pointers(generated: Path, live_service: str) -> None:
    client = import_module("made_client").Client(base_url=live_service)
    check = import_module("made_client.api.checks.check_simulated_loss")
    models = import_module("made_client.models")
    wrong = json.loads(json.dumps(LOSS.example["request"]))
    wrong["initial"]["indication"] = "12,003 g"
    with client:
        answer = check.sync(client=client, body=models.SimulatedLossCheck.from_dict(wrong))
    assert isinstance(answer, models.Problem)
    assert [(e.pointer, e.code) for e in answer.errors] == [
        ("/initial/indication", "decimal-comma")
    ]
