"""The laboratory's own server, as docker-compose.yml describes it."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from labmatrix.web.management.commands.up import WEB
from tests.architecture.source import ROOT, product_files
from tests.installation import Installation, wait_for
from tests.journeys.caller import Caller
from tests.results.scene import CHANNELS, curve_csv

COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES = COMPOSE["services"]
OURS = {"migrate", "web", "short-worker", "long-worker", "sweeper"}
SERVING = OURS - {"migrate"}
SECRET = re.compile(r"\$\{(\w+)([^}]*)\}")


def instructions():
    """The Dockerfile's instructions, continued lines joined: [(word, rest)]."""
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    lines = re.sub(r"\\\n", " ", re.sub(r"(?m)^#.*\n", "", text)).splitlines()
    return [tuple(line.split(maxsplit=1)) for line in lines if line.strip()]


def test_every_part_of_the_installation_is_there():
    assert set(SERVICES) == OURS | {"postgres", "redis"}


@pytest.mark.parametrize("name", sorted(OURS))
def test_our_parts_share_one_image_and_may_do_little(name):
    service = SERVICES[name]
    assert service["image"] == SERVICES["web"]["image"]
    assert service["user"] == "10001:10001"
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert "no-new-privileges:true" in service["security_opt"]
    assert service["environment"] == SERVICES["web"]["environment"]


@pytest.mark.parametrize("name", ["postgres", "redis"])
def test_the_servers_run_as_themselves_and_are_not_published(name):
    assert SERVICES[name]["user"] == name
    assert "ports" not in SERVICES[name]
    assert SERVICES[name]["networks"] == ["behind"]
    assert COMPOSE["networks"]["behind"]["internal"] is True


@pytest.mark.parametrize("name", sorted(SERVING | {"postgres", "redis"}))
def test_whatever_runs_on_has_a_health_check(name):
    check = SERVICES[name]["healthcheck"]
    assert check["test"][0] == "CMD"
    assert set(check) >= {"interval", "timeout", "retries"}


@pytest.mark.parametrize("name", sorted(SERVING))
def test_nothing_serves_before_the_database_is_migrated(name):
    after = SERVICES[name]["depends_on"]
    assert after["migrate"]["condition"] == "service_completed_successfully"
    assert after["redis"]["condition"] == "service_healthy"
    assert SERVICES["migrate"]["depends_on"]["postgres"]["condition"] == "service_healthy"


def test_secrets_come_from_outside_and_have_no_default():
    text = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    asked = SECRET.findall(text)
    assert {name for name, _ in asked} == {
        "STRONGFLOOR_SECRET_KEY",
        "STRONGFLOOR_PUBLIC_URL",
        "STRONGFLOOR_POSTGRES_PASSWORD",
    }
    assert all(rest.startswith(":?") for _, rest in asked)


def test_the_settings_know_every_name_that_is_set():
    source = (ROOT / "labmatrix" / "settings.py").read_text(encoding="utf-8")
    known = {f"STRONGFLOOR_{name}" for name in re.findall(r'_env\("(\w+)"', source)} | {"PORT"}
    assert set(SERVICES["web"]["environment"]) - known == set()


@pytest.mark.parametrize("name", sorted(OURS))
def test_the_commands_are_commands(name):
    program, *rest = SERVICES[name]["command"]
    if program == "python":
        listed = subprocess.run(
            [sys.executable, "manage.py", "help", "--commands"],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert rest[0] == "manage.py"
        assert rest[1] in listed.stdout.split()
    else:
        assert (Path(sys.executable).parent / program).exists()


def test_the_web_server_is_the_one_of_the_single_command():
    assert SERVICES["web"]["command"] == ["gunicorn", WEB[-1]]


def test_the_image_installs_the_lock_and_does_not_run_as_root():
    steps = instructions()
    assert ("USER", "10001:10001") in steps
    install = next(rest for word, rest in steps if word == "RUN" and "pip install" in rest)
    assert "--require-hashes" in shlex.split(install)
    assert any(word == "COPY" and "requirements.txt" in rest for word, rest in steps)


def test_the_image_holds_all_that_is_ours():
    copied = {
        source for word, rest in instructions() if word == "COPY" for source in rest.split()[:-1]
    }
    needed = {path.relative_to(ROOT).parts[0] for path in product_files()}
    needed |= {"manage.py", "gunicorn.conf.py", "templates", "requirements.txt"}
    assert needed - copied == set()
    let_in = (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
    assert let_in[0] == "*"
    assert {f"!{name}" for name in needed} - set(let_in) == set()


def in_place_of(values, text):
    """What compose makes of a text: the secrets filled in."""
    return SECRET.sub(lambda found: values[found[1]], text)


@pytest.fixture
def installation(tmp_path, postgres_url, redis_broker):
    """The same settings, with the servers of this machine and the loopback interface only."""
    secrets = {
        "STRONGFLOOR_SECRET_KEY": "a-key-of-the-tests-and-of-nobody-else-0123456789-abcdef",
        "STRONGFLOOR_POSTGRES_PASSWORD": "unused",
        "STRONGFLOOR_PUBLIC_URL": "https://strongfloor.example",
    }
    environment = {k: in_place_of(secrets, v) for k, v in SERVICES["web"]["environment"].items()}
    assert environment["STRONGFLOOR_DATABASE_URL"].startswith("postgres://strongfloor:unused@")
    assert environment["STRONGFLOOR_BROKER_URL"].startswith("redis://")
    for name in ("PORT", "STRONGFLOOR_HOME"):
        del environment[name]
    here = {"STRONGFLOOR_DATABASE_URL": postgres_url, "STRONGFLOOR_BIND": "127.0.0.1"}
    made = Installation(tmp_path / "home", **{**environment, **here, **redis_broker})
    made.environment["PATH"] = f"{Path(sys.executable).parent}:{os.environ['PATH']}"
    yield made
    made.end()


@pytest.mark.postgres
@pytest.mark.redis
def test_the_same_commands_and_settings_reduce_a_record(installation):
    migrate = installation.start(*SERVICES["migrate"]["command"])
    assert migrate.wait(timeout=120) == 0, installation.said()
    staged = subprocess.run(
        [sys.executable, "-m", "tests.journeys.stage", "1"],
        cwd=ROOT, env=installation.environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    parts = {name: installation.start(*SERVICES[name]["command"]) for name in sorted(SERVING)}
    wait_for(lambda: installation.get("/health/") == 200, "the web server answers")
    assert installation.get("/ready/") == 200
    well = subprocess.run(
        SERVICES["short-worker"]["healthcheck"]["test"][1:],
        cwd=ROOT, env=installation.environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert well.returncode == 0, well.stderr
    # As the laboratory's proxy hands requests on.
    proxy = {"Host": "strongfloor.example", "X-Forwarded-Proto": "https"}
    caller = Caller(installation.port, "technician", "a-long-password", headers=proxy)
    fields = {
        "subject": staged.stdout.split()[0],
        "test": "break",
        "channels": str(CHANNELS).replace("'", '"'),
    }
    content = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)])
    record = caller.upload("records/", fields, {"beam.csv": content})
    wait_for(lambda: caller.get(f"records/{record['id']}/")["status"] == "reduced", "it is reduced")
    metrics = caller.get(f"records/{record['id']}/")["metrics"]
    assert [m["value"] for m in metrics if m["name"] == "peak_load"] == [72.0]
    assert {name: part.poll() for name, part in parts.items()} == dict.fromkeys(parts)
