"""The data folder's lock, the port, the address and the ready file."""

import json
import socket
from ipaddress import ip_address
from pathlib import Path

import pytest

from studio.running import place
from studio.running.supervisor import GiveUp

pytestmark = pytest.mark.once


def test_two_runs_on_one_data_folder_are_refused_with_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(place, "LOCK_WAIT_S", 0.2)
    with place.lock(tmp_path), pytest.raises(GiveUp, match=r"runs already on .* another folder"), place.lock(tmp_path):
        pass
    with place.lock(tmp_path):
        pass  # free again


def test_a_data_folder_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(GiveUp, match="cannot be written"), place.lock(tmp_path / "gone"):
        pass


def test_a_port_in_use_is_a_sentence_and_0_takes_a_free_one() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(GiveUp, match=rf"Port {port} is in use\. Choose another, for example: --port {port + 1}"):
            place.free_port("127.0.0.1", port)
    assert place.free_port("127.0.0.1", port) == port
    assert place.free_port("127.0.0.1", 0) > 1023


def test_a_host_of_another_machine_is_a_sentence() -> None:
    # RFC 5737: 192.0.2.0/24 is kept for documentation and is nobody's address; RFC 2606: .invalid is no name.
    for host in ("192.0.2.7", "nowhere.invalid"):
        with pytest.raises(GiveUp, match="Leave --host out"):
            place.free_port(host, 0)


@pytest.mark.parametrize(
    ("host", "private"),
    [
        *[(host, True) for host in ("127.0.0.1", "127.8.8.8", "::1", "localhost")],
        *[(host, False) for host in ("0.0.0.0", "::", "192.168.1.5", "yard.example")],
    ],
)
def test_who_can_reach_a_host(host: str, private: bool) -> None:
    assert place.is_private(host) is private


def test_the_address_is_one_that_can_be_typed() -> None:
    assert place.address("127.0.0.1", 8000) == "http://127.0.0.1:8000"
    assert place.address("yard.example", 80) == "http://yard.example:80"
    assert place.address("::1", 8000) == "http://[::1]:8000"
    own = place.address("0.0.0.0", 8000).removeprefix("http://").removesuffix(":8000")
    assert not ip_address(own).is_unspecified


def test_the_ready_file_is_whole_and_private(tmp_path: Path) -> None:
    file = tmp_path / "ready.json"
    file.write_text("old")
    file.chmod(0o644)
    place.write_ready_file(file, {"url": "http://127.0.0.1:8000"})
    assert json.loads(file.read_text()) == {"url": "http://127.0.0.1:8000"}
    assert file.stat().st_mode & 0o777 == 0o600
    assert [*tmp_path.glob("*ready*"), *tmp_path.glob(".*")] == [file]
    with pytest.raises(GiveUp, match="another place for --ready-file"):
        place.write_ready_file(tmp_path / "gone" / "ready.json", {})
