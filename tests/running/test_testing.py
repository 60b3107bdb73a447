"""`manage.py test`: which runs there are, and which exit code comes out."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from studio.running import testing

pytestmark = pytest.mark.once
SERVER = "postgresql://studio@/studio?host=/run/of-a-test"


class Runs:
    """Instead of pytest: notes how it was called, and ends with the next code."""

    def __init__(self, *codes: int) -> None:
        self.codes = list(codes)
        self.calls: list[tuple[list[str], dict[str, str]]] = []

    def __call__(self, command: list[str], *, cwd: Path, env: dict[str, str], check: bool) -> Any:
        assert command[:3] == [sys.executable, "-m", "pytest"]
        assert Path(env["STUDIO_DATA"]).is_dir()
        self.calls.append((command[3:], env))
        return subprocess.CompletedProcess(command, self.codes.pop(0))


@pytest.fixture(autouse=True)
def _bare_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("STUDIO_TEST_DATABASE_URL", "STUDIO_REQUIRE_SERVICES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("STUDIO_DATABASE_URL", "postgresql://real@db.example/real")
    monkeypatch.setenv("STUDIO_DATA", "/srv/real")


def run(monkeypatch: pytest.MonkeyPatch, runs: Runs, *arguments: str) -> int:
    monkeypatch.setattr(subprocess, "run", runs)
    return testing.run(arguments)


def test_without_a_server_it_runs_once_and_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    runs = Runs(1)
    assert run(monkeypatch, runs, "--", "-k", "photo") == 1
    assert [arguments for arguments, _ in runs.calls] == [["-k", "photo"]]
    assert "STUDIO_TEST_DATABASE_URL" in capsys.readouterr().out


def test_no_run_touches_the_real_data_or_database(monkeypatch: pytest.MonkeyPatch) -> None:
    runs = Runs(0)
    run(monkeypatch, runs)
    environment = runs.calls[0][1]
    assert "STUDIO_DATABASE_URL" not in environment
    assert environment["STUDIO_DATA"] != "/srv/real"
    assert not Path(environment["STUDIO_DATA"]).exists()  # gone afterwards


def test_with_a_server_it_runs_again_without_what_needs_one_run_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STUDIO_TEST_DATABASE_URL", SERVER)
    runs = Runs(0, 0)
    assert run(monkeypatch, runs, "--", "-x") == 0
    assert [arguments for arguments, _ in runs.calls] == [["-x"], ["-m", "not once", "-x"]]
    assert "STUDIO_DATABASE_URL" not in runs.calls[0][1]
    assert runs.calls[1][1]["STUDIO_DATABASE_URL"] == SERVER


@pytest.mark.parametrize(("codes", "worse"), [((0, 1), 1), ((1, 0), 1), ((0, 5), 0), ((5, 5), 5), ((1, 2), 2)])
def test_the_worse_code_comes_out(monkeypatch: pytest.MonkeyPatch, codes: tuple[int, int], worse: int) -> None:
    # pytest, "Exit codes": 0 passed, 1 failed, 2 interrupted, 5 nothing collected
    monkeypatch.setenv("STUDIO_TEST_DATABASE_URL", SERVER)
    assert run(monkeypatch, Runs(*codes)) == worse


def test_where_services_are_required_a_missing_server_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STUDIO_REQUIRE_SERVICES", "1")
    assert run(monkeypatch, Runs(0)) == 1
