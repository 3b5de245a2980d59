"""The addresses of plans, as they are described."""

import inspect
import json
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weighworthy import Client, Invalid, open_profile
from weighworthy.cli import main
from weighworthy.plans import PLANS, Plans
from weighworthy_service.web.app import create_app
from weighworthy_service.web.document import document_bytes
from weighworthy_service.web.plan_document import plan_examples

ROOT = Path(__file__).parents[2]
SITE = ROOT / "examples/kestrel/site.toml"
EXAMPLES = ROOT / "examples/plans"


@pytest.fixture(scope="module")
def sdk():
    with Client.embedded(defaults=SITE) as client:
        yield client


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


@pytest.mark.parametrize("name", plan_examples())
def test_example_request_gives_the_example_answer(client, name) -> None:
    example = plan_examples()[name]
    answer = client.post(f"/v1/plans/{name}", json=example["request"])
    assert answer.status_code == 200
    assert answer.json == example["answer"]
    again = client.post(f"/v1/plans/{name}", json=example["request"])
    assert again.data == answer.data


@pytest.mark.parametrize("name", plan_examples())
def test_faults_are_problem_documents(client, name) -> None:
    for body, status, slug in (
        (b"{", 400, "malformed-json"),
        (b"[]", 422, "invalid"),
        (b"{}", 422, "invalid"),
    ):
        answer = client.post(f"/v1/plans/{name}", data=body, content_type="application/json")
        assert (answer.status_code, answer.content_type) == (status, "application/problem+json")
        assert answer.json["type"] == f"/problems/{slug}"
    answer = client.post(f"/v1/plans/{name}?detail=short", json=plan_examples()[name]["request"])
    assert answer.status_code == 422
    request = plan_examples()[name]["request"]
    answer = client.post(f"/v1/plans/{name}", json=request, headers={"Accept": "text/csv"})
    assert answer.status_code == 406


def test_everything_wrong_is_told_at_once(client) -> None:
    request = json.loads(json.dumps(plan_examples()["product"]["request"]))
    request["instrument"]["scale_interval"] = "1"
    request["typical"] = "12,5 %"
    request["surplus"] = True
    answer = client.post("/v1/plans/product", json=request)
    assert {e["pointer"] for e in answer.json["errors"]} == {
        "/instrument/scale_interval", "/typical", "/surplus",
    }  # fmt: skip


def test_methods_take_the_fields_of_the_requests() -> None:
    schemas = json.loads(document_bytes())["components"]["schemas"]
    for name, method, schema in (
        ("simulated-loss", Plans.simulated_loss, "LossPlan"),
        ("tolerance", Plans.tolerance, "TolerancePlan"),
        ("sample", Plans.sample, "SamplePlan"),
        ("product", Plans.product, "ProductPlan"),
    ):
        assert name in PLANS
        parameters = inspect.signature(method).parameters
        published = schemas[schema]
        # A TOML profile goes as the file it is in, under `profile`.
        assert parameters.keys() - {"self"} == published["properties"].keys() - {"profile_toml"}
        needed = {n for n, p in parameters.items() if p.default is p.empty} - {"self"}
        assert needed == set(published["required"]) - {"weights"}


def test_the_client_completes_from_the_site(sdk) -> None:
    """By hand: 2.1·√… is not needed, only that balance and weights are those of the site."""
    plan = sdk.plans.tolerance(instrument="MA-07", loads={"span": [["A50"]]})
    assert plan.plan == "tolerance"
    # 0.10 mg of the certificate at k = 2, and nothing else of A50 may be off.
    assert float(plan["tolerances"][0]["weights_error"]) == pytest.approx(0.0001)
    loss = sdk.plans.simulated_loss(
        instrument="MA-07", weights=["A2", "A10"], within="0.2 %", wanted_loss="16 %",
        start_window={"target": "12 g", "allowance": "0.2 g"}, show=1, weights_on_pan=2,
    )  # fmt: skip
    assert loss["options"][0]["put_on"] == ("A10", "A2")
    assert loss["search"]["weights"] == 2


def test_without_a_tolerance_the_profile_of_the_site_counts(sdk) -> None:
    plan = sdk.plans.simulated_loss(instrument="MA-07", ratio="1", weights=["A2", "A10"])
    assert plan["profile"]["id"] == "kestrel-balances"
    assert float(plan["tolerance"]["upper_limit"]) == 0.04


def test_a_profile_from_a_file(sdk, tmp_path) -> None:
    file = tmp_path / "oats.toml"
    text = 'id = "oats"\nrevision = "1"\n[[rules]]\nlimits.loss_error = { within = "0.2 %" }\n'
    file.write_text(text + 'start_window = { target = "12 g", allowance = "0.2 g" }\n', "utf-8")
    for profile in (file, open_profile(file)):
        plan = sdk.plans.simulated_loss(
            instrument="MA-07", weights=["A2", "A10"], profile=profile, wanted_loss="16 %"
        )
        assert plan["profile"]["id"] == "oats"
        assert plan["options"]


def test_what_a_client_refuses_before_it_asks(sdk) -> None:
    with pytest.raises(ValueError, match="name weights of the site"):
        sdk.plans.product(instrument="MA-07", weights=["Z9"], typical="10 %", sample_mass="10 g")
    with pytest.raises(ValueError, match="not in the site's instruments"):
        sdk.plans.sample(instrument="MA-99", loss="1 %", target_uncertainty="1 %")
    with pytest.raises(TypeError, match="target_uncertainty"):
        sdk.plans.sample(instrument="MA-07", loss="1 %", target_uncertainty=0.1)
    with pytest.raises(ValueError, match="no plan"):
        sdk.plans.ask("blank-run", {})
    with pytest.raises(Invalid, match="/share"):
        sdk.plans.sample(instrument="MA-07", loss="1 %", target_uncertainty="1 %", share="200 %")


@pytest.fixture
def command(monkeypatch, capsys, tmp_path):
    monkeypatch.delenv("WEIGHWORTHY_URL", raising=False)
    shutil.copytree(EXAMPLES, tmp_path / "plans")
    monkeypatch.chdir(tmp_path / "plans")

    def run(*words: str):
        code = main(["plan", *words, "--site", str(SITE)])
        return code, capsys.readouterr()

    return run


def test_the_command_writes_a_profile_that_reads(command, sdk) -> None:
    code, told = command("product", "product.toml", "-o", "oats.toml")
    assert code == 0
    assert "profile written" in told.err
    document = tomllib.loads(Path("oats.toml").read_text("utf-8"))
    assert document["id"] == "oat-flakes"
    assert sdk.profiles.review(Path("oats.toml")).usable
    code, told = command("product", "product.toml", "--json")
    assert json.loads(told.out)["profile"] == document


def test_the_command_tells_what_cannot_be_had(command) -> None:
    text = Path("product.toml").read_text("utf-8").replace('"25 %"', '"4 %"')
    Path("tight.toml").write_text(text, "utf-8")
    code, told = command("product", "tight.toml", "-o", "none.toml")
    assert code == 1
    assert not Path("none.toml").exists()
    assert "NOT attainable" in told.out
    assert "would do" in told.out
    text = Path("loss.toml").read_text("utf-8").replace('"0.06 %"', '"0.02 %"')
    Path("tight.toml").write_text(text, "utf-8")
    code, told = command("loss", "tight.toml")
    assert code == 1
    assert "falls short" in told.out


def test_lines_are_no_longer_than_a_page(command) -> None:
    for action in ("loss", "tolerance", "sample", "product"):
        _, told = command(action, f"{action}.toml")
        sentences = [line for line in told.out.splitlines() if "  " not in line.lstrip()]
        assert sentences
        assert max(map(len, sentences)) <= 100


def test_wrong_files(command, tmp_path) -> None:
    Path("list.json").write_text("[]", "utf-8")
    assert command("sample", "list.json")[0] == 2
    assert command("sample", "absent.toml")[0] == 2
    Path("bare.toml").write_text('instrument = "MA-07"\nloss = 12\n', "utf-8")
    code, told = command("sample", "bare.toml")
    assert code == 2
    assert "loss" in told.err


numbers = st.sampled_from(
    ["0", "0.000000001", "999999999999.999999999", "1", "0.5", "0.001", "60", "99.999999999"]
)


def strange(value: Any) -> st.SearchStrategy[Any]:
    """The same body with other figures here and there, each still of its form."""
    if isinstance(value, dict):
        return st.fixed_dictionaries({name: strange(one) for name, one in value.items()})
    if isinstance(value, list):
        return st.tuples(*map(strange, value)).map(list)
    if isinstance(value, str) and (parts := value.split())[-1] in ("g", "mg", "%", "ug"):
        units = ["%"] if parts[-1] == "%" else ["g", "mg", "ug"]
        other = st.builds("{} {}".format, numbers, st.sampled_from(units))
        return st.one_of(*[st.just(value)] * 7, other)
    return st.just(value)


@pytest.mark.parametrize("name", plan_examples())
@settings(max_examples=25, suppress_health_check=list(HealthCheck), derandomize=True)
@given(data=st.data())
def test_no_figures_make_the_service_fail(client, name, data) -> None:
    body = data.draw(strange(plan_examples()[name]["request"]))
    answer = client.post(f"/v1/plans/{name}", json=body)
    assert answer.status_code in (200, 422), answer.text
