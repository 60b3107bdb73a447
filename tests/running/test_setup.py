"""Making `.venv`: each trouble of a newcomer is one sentence, and the second start does nothing."""

import ast
import errno
import os
import subprocess
import sys
from pathlib import Path
from typing import Any, NoReturn

import pytest

from studio import setup

pytestmark = pytest.mark.once
ROOT = Path(__file__).resolve().parent.parent.parent


class Anew(Exception):
    """Instead of starting the program anew."""


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty checkout with two small locks, seen by a Python that has none of their packages."""
    locks = tmp_path / "studio" / "locks"
    locks.mkdir(parents=True)
    (locks / "run.txt").write_text("no-such-package==1.0 \\\n    --hash=sha256:00\n")
    (locks / "test.txt").write_text("no-such-package==1.0 \\\n    --hash=sha256:00\nnor-this==2.0 \\\n")
    monkeypatch.setattr(setup, "ROOT", tmp_path)
    monkeypatch.setattr(setup, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(setup, "LOCKS", locks)
    monkeypatch.setattr(os, "environ", {"PATH": os.environ["PATH"]})

    def anew(path: str, arguments: list[str]) -> NoReturn:
        raise Anew(arguments)

    monkeypatch.setattr(os, "execv", anew)
    return tmp_path


@pytest.fixture
def made(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """`.venv` is made and filled without a network; gives what was done."""
    done: list[str] = []

    def make() -> None:
        done.append("made")
        (checkout / ".venv" / "bin").mkdir(parents=True, exist_ok=True)
        (checkout / ".venv" / "unfinished").unlink(missing_ok=True)
        (checkout / ".venv" / "works").touch()

    monkeypatch.setattr(setup, "_make_venv", make)
    monkeypatch.setattr(setup, "_install", lambda lock: done.append(lock))
    monkeypatch.setattr(setup, "_works", lambda: (checkout / ".venv" / "works").exists())
    return done


def sentence(problem: pytest.ExceptionInfo[SystemExit]) -> str:
    text = str(problem.value.code)
    assert "\n" not in text
    assert "Traceback" not in text
    return text


@pytest.mark.parametrize("file", ["manage.py", "studio/setup.py", "studio/__init__.py"])
def test_an_old_python_can_read_what_refuses_it(file: str) -> None:
    ast.parse((ROOT / file).read_text(), feature_version=(3, 7))


def test_what_an_old_python_lacks_is_not_looked_for_before_it_is_refused() -> None:
    """Whatever stands at the top is there in Python 3.7 already; ``importlib.metadata`` came with 3.8."""
    tree = ast.parse((ROOT / "studio" / "setup.py").read_text())
    top = {alias.name for node in tree.body if isinstance(node, ast.Import) for alias in node.names}
    top |= {node.module or "" for node in tree.body if isinstance(node, ast.ImportFrom)}
    since_3_7 = {"__future__", "collections.abc", "contextlib", "errno", "hashlib", "importlib.util", "io", "os"}
    assert top <= since_3_7 | {"pathlib", "re", "subprocess", "sys"}


def test_the_set_up_needs_the_standard_library_only() -> None:
    tree = ast.parse((ROOT / "studio" / "setup.py").read_text())
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names


@pytest.mark.parametrize("version", [(3, 9), (3, 10), (2, 7)])
def test_an_old_python_is_told_which_one_is_needed(version: tuple[int, int]) -> None:
    with pytest.raises(SystemExit) as problem:
        setup._refuse_old_python(version)
    assert sentence(problem).startswith("Python 3.11 or later is needed")


def test_without_an_argument_the_two_commands_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        setup.enter(["manage.py"])
    assert end.value.code == 0
    said = capsys.readouterr().out
    assert "manage.py up " in said
    assert "manage.py test " in said


@pytest.mark.parametrize("words", [["--data", "a b/c"], ["--port", "1", "--data=a b/c"]])
def test_the_data_folder_is_known_before_any_setting_is_read(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    monkeypatch.chdir(checkout)
    os.environ["STUDIO_NO_VENV"] = "1"
    setup.enter(["manage.py", "up", *words])
    assert os.environ["STUDIO_DATA"] == str(checkout / "a b" / "c")


def test_a_data_option_without_a_folder_is_a_sentence(checkout: Path) -> None:
    with pytest.raises(SystemExit) as problem:
        setup.enter(["manage.py", "up", "--data"])
    assert "Name a folder after --data" in sentence(problem)


def test_first_use_makes_it_and_starts_anew_inside(made: list[str], checkout: Path) -> None:
    with pytest.raises(Anew) as anew:
        setup.enter(["manage.py", "up", "--port", "1"])
    assert made == ["made", "run"]
    python = str(checkout / ".venv" / "bin" / "python")
    assert anew.value.args[0] == [python, str(checkout / "manage.py"), "up", "--port", "1"]


def test_second_use_goes_straight_inside(made: list[str]) -> None:
    setup.prepare("run")
    made.clear()
    os.environ.pop(setup.ENTERED, None)
    with pytest.raises(Anew):
        setup.enter(["manage.py", "up"])
    assert made == []


def test_inside_a_stamped_venv_nothing_is_done(
    made: list[str], checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    setup.prepare("run")
    made.clear()
    monkeypatch.setattr(sys, "prefix", str(checkout / ".venv"))
    setup.enter(["manage.py", "up"])
    assert made == []


def test_the_tests_need_more_and_what_they_got_is_enough_for_a_run(made: list[str]) -> None:
    setup.prepare("run")
    setup.prepare("test")
    setup.prepare("run")
    assert made == ["made", "run", "test"]


def test_a_changed_lock_is_installed_again(made: list[str], checkout: Path) -> None:
    setup.prepare("run")
    (checkout / "studio" / "locks" / "run.txt").write_text("no-such-package==1.1\n")
    setup.prepare("run")
    assert made == ["made", "run", "run"]


def test_packages_that_stand_here_as_locked_need_no_venv(checkout: Path) -> None:
    from importlib.metadata import version

    (checkout / "studio" / "locks" / "run.txt").write_text(
        f"django=={version('django')} \\\n    --hash=sha256:00\ncolorama==0.4 ; sys_platform == 'win32' \\\n"
    )
    setup.enter(["manage.py", "up"])
    (checkout / "studio" / "locks" / "run.txt").write_text("django==1.0\n")
    assert not setup._ready_here("run")


def test_an_install_that_was_cut_off_begins_anew(made: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_off(lock: str) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(setup, "_install", cut_off)
        with pytest.raises(KeyboardInterrupt):
            setup.prepare("run")
    assert not setup._stamped("run")
    setup.prepare("run")
    assert made == ["made", "made", "run"]


def test_a_venv_that_somebody_else_made_is_filled_not_thrown_away(made: list[str], checkout: Path) -> None:
    (checkout / ".venv").mkdir()
    (checkout / ".venv" / "works").touch()
    setup.prepare("run")
    assert made == ["run"]


def test_a_venv_that_does_not_work_is_no_endless_circle(made: list[str]) -> None:
    setup.prepare("run")
    os.environ[setup.ENTERED] = "1"
    with pytest.raises(SystemExit) as problem:
        setup.enter(["manage.py", "up"])
    assert "Delete that folder" in sentence(problem)


@pytest.mark.parametrize("missing", ["ensurepip", "venv"])
def test_a_python_without_its_venv_part_names_the_package(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, missing: str
) -> None:
    """Debian ships ``ensurepip`` apart; other systems leave out both."""
    monkeypatch.setitem(sys.modules, missing, None)
    with pytest.raises(SystemExit) as problem:
        setup.prepare("run")
    assert "sudo apt install python3-venv" in sentence(problem)


def test_a_venv_that_leaves_by_system_exit_and_half_a_folder_is_made_anew_next_time(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cleared: list[bool] = []

    class Half:
        def __init__(self, *, clear: bool, symlinks: bool, with_pip: bool) -> None:
            cleared.append(clear)

        def create(self, folder: Path) -> None:
            (folder / "bin").mkdir(parents=True, exist_ok=True)
            print("The virtual environment was not created successfully because ensurepip is not available.")
            raise SystemExit(1)

    monkeypatch.setattr("venv.EnvBuilder", Half)
    for _ in range(2):
        with pytest.raises(SystemExit) as problem:
            setup.prepare("run")
        assert "python3-venv" in sentence(problem)
    assert cleared == [False, True]
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.EACCES, "is not writable. Copy the folder"),
        (errno.EROFS, "is not writable. Copy the folder"),
        (errno.ENOSPC, "The disk is full."),
        (errno.EIO, "Setting up"),
    ],
)
def test_what_the_disk_refuses_is_a_sentence(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, number: int, said: str
) -> None:
    def refuse(*arguments: Any, **options: Any) -> None:
        raise OSError(number, os.strerror(number), str(checkout / ".venv"))

    monkeypatch.setattr("venv.EnvBuilder.create", refuse)
    with pytest.raises(SystemExit) as problem:
        setup.prepare("run")
    assert said in sentence(problem)


@pytest.mark.parametrize(
    ("stderr", "said"),
    [
        ("WARNING: Retrying after connection broken by 'NewConnectionError'\nERROR: No matching distribution found for x", "Check the internet connection"),
        ("ERROR: Could not install packages: Temporary failure in name resolution", "Check the internet connection"),
        ("ERROR: No matching distribution found for pillow==13", "no ready-made build for this machine"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "is not the one that the lock names"),
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "The disk is full"),
        ("ERROR: something new", "It said: ERROR: something new"),
        ("", "no reason given"),
    ],
)  # fmt: skip
def test_what_pip_says_becomes_a_sentence(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, stderr: str, said: str
) -> None:
    monkeypatch.setattr(
        subprocess, "run", lambda command, **options: subprocess.CompletedProcess(command, 1, "", stderr)
    )
    with pytest.raises(SystemExit) as problem:
        setup._install("run")
    assert said in sentence(problem)


def test_two_set_ups_at_once_wait_for_each_other(checkout: Path) -> None:
    holds = "import fcntl, os, sys, time; f = os.open(sys.argv[1], os.O_RDONLY); fcntl.flock(f, 2); print(flush=True); time.sleep(0.5)"
    other = subprocess.Popen([sys.executable, "-c", holds, str(checkout)], stdout=subprocess.PIPE)
    with other:
        assert other.stdout
        other.stdout.readline()
        with setup._only_one():
            assert other.poll() is not None or other.wait(timeout=1) == 0


def test_the_test_lock_holds_all_of_the_run_lock() -> None:
    """Else a run after the tests would install again, and the tests after a run."""
    assert set(setup._pins("run")) <= set(setup._pins("test"))
    assert len(setup._pins("run")) > 20
    for lock in ("run", "test"):
        text = (setup.LOCKS / f"{lock}.txt").read_text()
        assert "http" not in text  # no registry's address
