"""The folder as a broker: nothing lost, nothing seen before it is whole, nobody stopped by what a kill left behind."""

import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from queue import Empty

import pytest
from kombu import Connection, Consumer, Exchange, Queue
from kombu.exceptions import ChannelError

from studio.running import broker, folder

pytestmark = pytest.mark.once
ROOT = Path(__file__).resolve().parent.parent.parent
QUEUES = {name: Queue(name, Exchange(name), routing_key=name) for name in ("letters", "photos")}


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "with space, 50% #1"


@pytest.fixture
def line(place: Path) -> Iterator[Connection]:
    folder.register()
    with Connection(folder.address(place)) as connection:
        yield connection


def channel_of(line: Connection) -> folder.Channel:
    channel = line.channel()
    assert isinstance(channel, folder.Channel)
    return channel


def publish(line: Connection, queue: str, *bodies: str) -> None:
    with line.Producer() as producer:
        for body in bodies:
            producer.publish(
                {"is": body}, exchange=QUEUES[queue].exchange, routing_key=queue, declare=[QUEUES[queue]], retry=False
            )


def drain(line: Connection, *queues: str) -> list[str]:
    """What a worker would get, in its order."""
    got: list[str] = []

    def take(body: dict[str, str], message: object) -> None:
        got.append(body["is"])
        message.ack()  # type: ignore[attr-defined]

    with Consumer(line.channel(), [QUEUES[name] for name in queues], callbacks=[take]) as consumer:
        consumer.qos(prefetch_count=1)
        while True:
            try:
                line.drain_events(timeout=0.3)
            except TimeoutError:
                return got


def test_a_message_comes_out_as_it_went_in(line: Connection, place: Path) -> None:
    publish(line, "letters", "a", "b", "c")
    assert len(list((place / "letters").iterdir())) == 3
    assert drain(line, "letters") == ["a", "b", "c"]
    assert list((place / "letters").iterdir()) == []


def test_letters_go_before_photos_however_long_these_wait(line: Connection) -> None:
    publish(line, "photos", "p1", "p2", "p3")
    publish(line, "letters", "l1", "l2")
    assert drain(line, "letters", "photos") == ["l1", "l2", "p1", "p2", "p3"]


PUBLISHER = """
import sys
from kombu import Connection
from studio.running import folder
folder.register()
with Connection(sys.argv[1]) as line, line.Producer() as producer:
    for number in range(125):
        producer.publish({"is": f"{sys.argv[2]}-{number}"}, exchange="photos", routing_key="photos", retry=False)
"""


def test_500_messages_of_four_publishers_at_once_arrive_each_once(line: Connection, place: Path) -> None:
    command = [sys.executable, "-c", PUBLISHER, folder.address(place)]
    publishers = [subprocess.Popen([*command, str(who)], cwd=ROOT) for who in range(4)]
    got: list[str] = []
    until = time.monotonic() + 60
    while time.monotonic() < until and (len(got) < 500 or any(one.poll() is None for one in publishers)):
        got += drain(line, "photos")  # while they write
    assert [one.wait(timeout=10) for one in publishers] == [0, 0, 0, 0]
    assert Counter(got) == Counter(f"{who}-{number}" for who in range(4) for number in range(125))


def test_two_readers_of_one_message_do_not_both_get_it(line: Connection, place: Path) -> None:
    publish(line, "photos", *(str(number) for number in range(50)))
    with Connection(folder.address(place)) as other:
        channels = [channel_of(line), channel_of(other)]
        got = [channel._get("photos")["headers"] is not None for _ in range(25) for channel in channels]
        assert len(got) == 50
        for channel in channels:
            with pytest.raises(Empty):
                channel._get("photos")


DYING = """
import os, signal, sys
from pathlib import Path
from kombu import Connection
from studio.running import folder
folder.register()
Path.rename = lambda self, target: os.kill(os.getpid(), signal.SIGKILL)
with Connection(sys.argv[1]) as line, line.Producer() as producer:
    producer.publish({"is": "half"}, exchange="photos", routing_key="photos", retry=False)
"""


def test_a_kill_between_writing_and_renaming_breaks_nothing(line: Connection, place: Path) -> None:
    killed = subprocess.run([sys.executable, "-c", DYING, folder.address(place)], cwd=ROOT, check=False)
    assert killed.returncode == -signal.SIGKILL
    assert [path.name[0] for path in (place / "photos").iterdir()] == ["."]  # the draft, and nothing else
    publish(line, "photos", "whole")
    assert drain(line, "photos") == ["whole"]


def test_an_empty_message_is_skipped(line: Connection, place: Path) -> None:
    publish(line, "photos", "whole")
    (place / "photos" / f"{0:020d}-torn.msg").touch()
    assert drain(line, "photos") == ["whole"]
    assert list((place / "photos").iterdir()) == []


def test_an_emptied_folder_stops_neither_publishers_nor_workers(line: Connection, place: Path) -> None:
    """A publisher declares its queue once and never again, so nothing it needs may live in the folder."""
    publish(line, "photos", "gone")
    shutil.rmtree(place)
    assert drain(line, "photos") == []
    publish(line, "photos", "here")
    assert drain(line, "photos") == ["here"]


def test_a_full_or_missing_disk_is_the_brokers_error(line: Connection, place: Path) -> None:
    place.parent.mkdir(exist_ok=True)
    place.write_text("a file where the folder should be")
    with pytest.raises(ChannelError, match="could not be put"):
        publish(line, "photos", "x")


@pytest.mark.parametrize("name", ["../photos", "a/b", "", ".hidden", "-x"])
def test_a_queue_name_leads_nowhere_else(line: Connection, name: str) -> None:
    with pytest.raises(ChannelError):
        channel_of(line)._put(name, {"body": ""})


def test_messages_are_counted_and_purged(line: Connection) -> None:
    publish(line, "photos", "a", "b")
    channel = channel_of(line)
    assert channel._size("photos") == 2
    assert channel._purge("photos") == 2
    assert channel._size("photos") == 0


def test_only_its_owner_can_list_what_waits(line: Connection, place: Path) -> None:
    broker.empty(place)
    publish(line, "photos", "a")
    assert place.stat().st_mode & 0o777 == 0o700
