"""What is in `service/deploy` for systemd, containers and Kubernetes: held to their own tools where
those exist, to the code of the service, and to each other.

No image is built and nothing is started by systemd or Kubernetes here.
"""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml

from weighworthy_service.web.app import create_app
from weighworthy_service.web.server_settings import ServerSettings
from weighworthy_service.web.settings import Settings
from weighworthy_service.web.variables import refuse_unknown

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "service" / "deploy"
CONTAINERFILE = DEPLOY / "container" / "Containerfile"
UNIT = DEPLOY / "systemd" / "weighworthy.service"
MANIFESTS = list(
    yaml.safe_load_all((DEPLOY / "kubernetes" / "weighworthy.yaml").read_text("utf-8"))
)
KINDS = {document["kind"]: document for document in MANIFESTS}
POD = KINDS["Deployment"]["spec"]["template"]
(CONTAINER,) = POD["spec"]["containers"]
ENVIRONMENT = {one["name"]: one["value"] for one in CONTAINER["env"]}
DIGEST = "sha256:" + "0" * 64
HADOLINT = Path(sys.prefix) / "bin" / "hadolint"
# As the file states; the newest is the one that the tool knows.
OLDEST = "1.29"


def run(*command: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(part) for part in command], capture_output=True, text=True, timeout=60, check=False
    )


# Kubernetes


@pytest.mark.parametrize("version", [OLDEST, kubernetes_validate.latest_version()])
@pytest.mark.parametrize("document", MANIFESTS, ids=lambda document: document["kind"])
def test_manifests_are_what_kubernetes_takes(document: dict[str, Any], version: str) -> None:
    kubernetes_validate.validate(document, version, strict=True)


def test_the_tool_finds_a_field_that_is_not_there() -> None:
    wrong = {**KINDS["PodDisruptionBudget"], "spec": {"maxUnavailabel": 1}}
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(wrong, OLDEST, strict=True)


def test_parts_point_at_each_other() -> None:
    labels = POD["metadata"]["labels"]
    selectors = [
        KINDS["Service"]["spec"]["selector"],
        KINDS["Deployment"]["spec"]["selector"]["matchLabels"],
        KINDS["PodDisruptionBudget"]["spec"]["selector"]["matchLabels"],
        KINDS["NetworkPolicy"]["spec"]["podSelector"]["matchLabels"],
    ]
    assert all(selector.items() <= labels.items() for selector in selectors)
    ports = {port["name"]: port["containerPort"] for port in CONTAINER["ports"]}
    assert ENVIRONMENT["WEIGHWORTHY_BIND"].endswith(f":{ports['http']}")
    assert {port["targetPort"] for port in KINDS["Service"]["spec"]["ports"]} == {"http"}
    target = KINDS["HorizontalPodAutoscaler"]["spec"]["scaleTargetRef"]
    assert (target["kind"], target["name"]) == (
        "Deployment",
        POD["metadata"]["labels"].popitem()[1],
    )
    volumes = {volume["name"]: volume for volume in POD["spec"]["volumes"]}
    mounts = {mount["name"]: mount for mount in CONTAINER["volumeMounts"]}
    assert mounts.keys() == volumes.keys()
    assert volumes["profiles"]["configMap"]["name"] == KINDS["ConfigMap"]["metadata"]["name"]
    paths = {mount["mountPath"] for mount in mounts.values()}
    assert {ENVIRONMENT[f"WEIGHWORTHY_{name}"] for name in ("KEYS_FILE", "PROFILES", "SPOOL")} == (
        paths
    )


def test_a_pod_starts_with_its_environment(tmp_path: Path) -> None:
    """As Kubernetes lays keys and profiles: through links, beside folders with a time in them."""
    given = dict(ENVIRONMENT)
    contents = {
        "KEYS_FILE": {"lims": f"{DIGEST} evaluate # LIMS\n"},
        "PROFILES": KINDS["ConfigMap"]["data"],
    }
    for name, files in contents.items():
        folder = tmp_path / name
        (folder / "..2026_03_16").mkdir(parents=True)
        (folder / "..data").symlink_to("..2026_03_16")
        for file, text in files.items():
            (folder / "..2026_03_16" / file).write_text(text, "utf-8")
            (folder / file).symlink_to(f"..data/{file}")
        given[f"WEIGHWORTHY_{name}"] = str(folder)
    given["WEIGHWORTHY_SPOOL"] = str(tmp_path)
    settings = Settings.from_environment(given)
    assert {key.scopes for key in settings.keys} == {frozenset({"evaluate"})}
    ready = create_app(settings).test_client().get("/readyz").get_json()
    assert ready["profiles"] == create_app().test_client().get("/readyz").get_json()["profiles"] + 1
    assert ServerSettings.from_environment(given).stop == 120


def test_names_that_kubernetes_sets_by_itself_are_kept_out() -> None:
    """A service makes variables after its name, which would keep the process from starting."""
    assert POD["spec"]["enableServiceLinks"] is False
    (made,) = [KINDS["Service"]["metadata"]["name"].upper() + "_PORT"]
    with pytest.raises(ValueError, match=made):
        refuse_unknown({made: "tcp://192.0.2.7:80"})


def test_a_pod_has_time_to_end() -> None:
    (waits,) = re.findall(
        r"time\.sleep\(([0-9]+)\)", CONTAINER["lifecycle"]["preStop"]["exec"]["command"][-1]
    )
    stop = int(ENVIRONMENT["WEIGHWORTHY_STOP_SECONDS"])
    assert POD["spec"]["terminationGracePeriodSeconds"] >= int(waits) + stop + 10


def test_probes_ask_what_is_open_to_everybody() -> None:
    keyed = create_app(Settings()).test_client()
    for name in ("startupProbe", "readinessProbe", "livenessProbe"):
        asked = CONTAINER[name]["httpGet"]
        assert asked["port"] == "http"
        assert keyed.get(asked["path"]).status_code == 200
    # A process that lives but is not ready must not be killed for it.
    assert CONTAINER["livenessProbe"]["httpGet"]["path"] == "/livez"


def test_a_pod_may_do_nothing_it_need_not() -> None:
    assert POD["spec"]["automountServiceAccountToken"] is False
    assert POD["spec"]["securityContext"]["runAsNonRoot"] is True
    assert POD["spec"]["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
    assert CONTAINER["securityContext"] == {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "capabilities": {"drop": ["ALL"]},
    }
    assert {"memory", "ephemeral-storage"} <= CONTAINER["resources"]["limits"].keys()
    assert {"cpu", "memory"} <= CONTAINER["resources"]["requests"].keys()


def test_there_is_always_somebody() -> None:
    fewest = KINDS["HorizontalPodAutoscaler"]["spec"]["minReplicas"]
    assert 0 < KINDS["PodDisruptionBudget"]["spec"]["maxUnavailable"] < fewest
    assert KINDS["Deployment"]["spec"]["strategy"]["rollingUpdate"]["maxUnavailable"] == 0
    # Otherwise applying the file again would undo what the autoscaler did.
    assert "replicas" not in KINDS["Deployment"]["spec"]


# Container


def instructions() -> list[tuple[str, str]]:
    text = re.sub(r"^#.*\n", "", CONTAINERFILE.read_text("utf-8"), flags=re.MULTILINE)
    lines = text.replace("\\\n", " ").splitlines()
    return [(line.split()[0], line.partition(" ")[2].strip()) for line in lines if line.strip()]


@pytest.mark.needs_hadolint
@pytest.mark.skipif(not HADOLINT.exists(), reason="needs hadolint")
def test_the_containerfile_has_nothing_that_its_linter_minds(tmp_path: Path) -> None:
    done = run(HADOLINT, "--no-color", CONTAINERFILE)
    assert (done.returncode, done.stdout) == (0, "")
    wrong = tmp_path / "Containerfile"
    wrong.write_text("FROM docker.io/library/python\n")
    assert "DL3006" in run(HADOLINT, "--no-color", wrong).stdout


def test_the_image_is_small_pinned_and_nobodys() -> None:
    said = instructions()
    names = [name for name, _ in said]
    last = said[len(names) - names[::-1].index("FROM") :]
    kept = dict(last)
    # Nothing is installed in the stage that is kept, and no tag floats over all versions.
    assert "RUN" not in kept
    (image,) = [value for name, value in said if name == "ARG"]
    assert re.fullmatch(r"PYTHON_IMAGE=docker\.io/library/python:3\.[0-9]+-slim-[a-z]+", image)
    (run,) = [value for name, value in said if name == "RUN"]
    installs = [one.split() for one in run.split("&&") if " install " in one]
    assert all({"--require-hashes", "--no-index"} & set(one) for one in installs)
    assert all("--no-deps" in one for one in installs)
    user = POD["spec"]["securityContext"]
    assert kept["USER"] == f"{user['runAsUser']}:{user['runAsGroup']}"
    assert user["runAsUser"] >= 10_000
    entry = json.loads(kept["ENTRYPOINT"])
    assert entry == ["/opt/weighworthy/bin/weighworthy"]
    assert CONTAINER["lifecycle"]["preStop"]["exec"]["command"][0].startswith("/opt/weighworthy/")
    assert kept["STOPSIGNAL"] == "SIGTERM"


def test_what_is_copied_is_there() -> None:
    copied = [value.split()[:-1] for name, value in instructions() if name == "COPY"]
    sources = [one for parts in copied for one in parts if not parts[0].startswith("--from")]
    assert sources
    assert [one for one in sources if not (ROOT / one).exists()] == []


def test_variables_of_the_image_are_read() -> None:
    said = " ".join(value for name, value in instructions() if name == "ENV")
    found = dict(re.findall(r"(WEIGHWORTHY_[A-Z_]+)=(\S+)", said))
    refuse_unknown(found)
    assert ServerSettings.from_environment(found).bind == "0.0.0.0:8000"
    assert found["WEIGHWORTHY_KEYS_FILE"] == ENVIRONMENT["WEIGHWORTHY_KEYS_FILE"]


def test_the_health_check_tells_life_from_death(live_service: str) -> None:
    (line,) = [value for name, value in instructions() if name == "HEALTHCHECK"]
    program, option, code = json.loads(line.partition("CMD ")[2])
    assert program.startswith("/opt/weighworthy/bin/python")
    assert code.count("http://127.0.0.1:8000") == 1
    for address, expected in ((live_service, 0), ("http://127.0.0.1:1", 1)):
        asked = code.replace("http://127.0.0.1:8000", address)
        assert run(sys.executable, option, asked).returncode == expected


# systemd


def unit() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in UNIT.read_text("utf-8").splitlines():
        if "=" in line and not line.startswith("#"):
            name, _, value = line.partition("=")
            found.setdefault(name, []).append(value)
    return found


@pytest.mark.needs_systemd
@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze")
def test_systemd_understands_the_unit_and_finds_little_exposed(tmp_path: Path) -> None:
    program = Path(sys.prefix) / "bin" / "weighworthy"
    copy = tmp_path / UNIT.name
    text = UNIT.read_text("utf-8").replace("/opt/weighworthy/bin/weighworthy", str(program))
    copy.write_text(text)
    done = run("systemd-analyze", "verify", "--man=no", copy)
    assert (done.returncode, done.stderr) == (0, "")
    # Of 100; what is left is the network, which a service needs.
    held = run("systemd-analyze", "security", "--offline=true", "--threshold=15", copy)
    assert held.returncode == 0, held.stdout
    copy.write_text(text.replace("ProtectSystem=strict", "ProtectSytem=strict"))
    assert "ProtectSytem" in run("systemd-analyze", "verify", "--man=no", copy).stderr


def test_the_unit_starts_what_there_is_with_what_is_read() -> None:
    said = unit()
    assert said["ExecStart"] == ["/opt/weighworthy/bin/weighworthy serve"]
    given = dict(value.split("=", 1) for value in said["Environment"])
    refuse_unknown(given)
    assert int(said["TimeoutStopSec"][0]) >= int(given["WEIGHWORTHY_STOP_SECONDS"]) + 10
    # Beside its own folder it can write nowhere.
    assert given["WEIGHWORTHY_SPOOL"] == f"/var/cache/{said['CacheDirectory'][0]}"
    assert said["ProtectSystem"] == ["strict"]
    assert said["DynamicUser"] == ["yes"]
