"""The environment behind the two commands, with a stand-in for Python that notes its calls."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.architecture.source import ROOT

STAND_IN = """#!/bin/sh
echo "$0 $* [$PIP_CONSTRAINT|$PIP_TARGET|$PIP_NO_BINARY]" >> {calls}
case "$*" in
  "-m venv --clear "*) rm -rf "$4"; mkdir -p "$4/bin"; cp "$0" "$4/bin/python" ;;
  *"pip install"*) [ ! -e {folder}/pip-fails ] ;;
  *"import ensurepip"*) [ ! -e {folder}/no-venv ] ;;
esac
"""


class Workplace:
    """A folder with the Makefile and the locks, and a Python that does nothing."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.calls_file = folder / "calls"
        self.python = folder / "python-stand-in"
        for name in ("Makefile", "requirements.txt", "requirements-dev.txt"):
            shutil.copy(ROOT / name, folder / name)
        text = STAND_IN.format(calls=self.calls_file, folder=folder)
        self.python.write_text(text, encoding="utf-8")
        self.python.chmod(0o755)

    def make(self, *targets: str, **environment: str) -> subprocess.CompletedProcess[str]:
        """Run make; the calls noted are those of this run."""
        self.calls_file.write_text("", encoding="utf-8")
        return subprocess.run(
            ["make", "--no-print-directory", f"PYTHON311={self.python}", *targets],
            cwd=self.folder, env={**os.environ, **environment},
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def calls(self, words: str) -> list[str]:
        """What the stand-in was called with, when it has these words."""
        lines = self.calls_file.read_text(encoding="utf-8").splitlines()
        return [line for line in lines if words in line]

    def stamps(self) -> list[str]:
        """Which locks count as installed."""
        found = (self.folder / ".venv").glob("installed-*")
        return sorted(path.name.split("-")[1] for path in found)


@pytest.fixture
def workplace(tmp_path):
    return Workplace(tmp_path)


def test_installs_the_hashed_lock_once(workplace):
    assert workplace.make("environment").returncode == 0
    (install,) = workplace.calls("pip install")
    assert "--require-hashes -r requirements.txt" in install
    assert workplace.stamps() == ["runtime"]
    assert workplace.make("environment").returncode == 0
    assert workplace.calls("") == []


def test_the_development_lock_serves_to_run_as_well(workplace):
    assert workplace.make("environment-dev").returncode == 0
    (install,) = workplace.calls("pip install")
    assert "-r requirements-dev.txt" in install
    assert workplace.stamps() == ["development", "runtime"]
    assert workplace.make("environment").returncode == 0
    assert workplace.calls("") == []


def test_a_changed_lock_is_installed_into_the_environment_that_is_there(workplace):
    workplace.make("environment")
    with (workplace.folder / "requirements.txt").open("a", encoding="utf-8") as lock:
        lock.write("# another day\n")
    assert workplace.make("environment").returncode == 0
    assert len(workplace.calls("pip install")) == 1
    assert workplace.calls("-m venv") == []
    assert workplace.stamps() == ["runtime"]


def test_a_half_finished_environment_is_made_anew(workplace):
    (workplace.folder / "pip-fails").touch()
    assert workplace.make("environment").returncode != 0
    assert workplace.stamps() == []
    (workplace.folder / "pip-fails").unlink()
    assert workplace.make("environment").returncode == 0
    assert len(workplace.calls("-m venv --clear")) == 1
    assert workplace.stamps() == ["runtime"]


def test_an_update_that_failed_counts_as_half_finished(workplace):
    workplace.make("environment")
    (workplace.folder / "pip-fails").touch()
    assert workplace.make("environment-dev").returncode != 0
    assert workplace.stamps() == []


def test_ambient_settings_do_not_decide_what_is_installed(workplace):
    workplace.make("environment", PIP_CONSTRAINT="/x", PIP_TARGET="/y", PIP_NO_BINARY=":all:")
    (install,) = workplace.calls("pip install")
    assert install.endswith("[/dev/null||]")
    assert "--only-binary=:all:" in install


def test_says_in_a_line_what_is_missing(workplace):
    done = workplace.make("environment", "PYTHON311=no-such-python")
    assert done.returncode != 0
    assert done.stderr.startswith("Python 3.11 is missing here: on Debian 12, apt install")
    (workplace.folder / "no-venv").touch()
    done = workplace.make("environment")
    assert done.returncode != 0
    assert done.stderr.startswith("Python's venv module is missing here: on Debian 12, apt install")
