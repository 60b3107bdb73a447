"""A mail server that takes letters, and misbehaves on purpose by whom they are for. Not for the studio: for its tests."""

import contextlib
import socket
import socketserver
import struct
import threading
import time
from collections import Counter
from collections.abc import Iterator
from email import message_from_bytes, policy
from enum import StrEnum
from typing import Any


class How(StrEnum):
    """The beginning of the mailbox. What goes wrong, goes wrong at the first try only; a refusal stays one."""

    OK = "ok"
    SLOW = "slow"
    DEFER_RCPT = "defer-rcpt"
    DEFER_DOT = "defer-dot"
    REFUSE_RCPT = "refuse-rcpt"
    REFUSE_DOT = "refuse-dot"
    BUSY = "busy"
    DROP_EARLY = "drop-early"
    DROP_AT_RCPT = "drop-at-rcpt"
    CUT_KEPT = "cut-kept"
    CUT_LOST = "cut-lost"


REFUSES = {How.REFUSE_RCPT, How.REFUSE_DOT}
CUTS = {How.CUT_KEPT, How.CUT_LOST}


def mailbox(how: How, number: int) -> str:
    return f"{how}.{number}@sink.example"


def how_of(address: str) -> How:
    return How(address.partition(".")[0])


class Sink(socketserver.ThreadingTCPServer):
    """``accepted`` are those that it will deliver: address and Message-ID, once for each time. ``cut_after_dot`` counts how often
    it went away after the final dot without a word."""

    allow_reuse_address = True
    daemon_threads = True
    request_queue_size = 64

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Session)
        self.lock = threading.Lock()
        self.accepted: list[tuple[str, str]] = []
        self.messages: dict[str, bytes] = {}
        self.tries: Counter[str] = Counter()
        self.cut_after_dot = 0
        self.silent = False

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    def accept(self, address: str, message: bytes) -> None:
        with self.lock:
            self.accepted.append((address, str(message_from_bytes(message, policy=policy.default)["Message-ID"])))
            self.messages[address] = message

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A line that broke is what is wanted here."""


class _Session(socketserver.StreamRequestHandler):
    server: Sink

    def say(self, *lines: str) -> None:
        self.wfile.write("".join(f"{line}\r\n" for line in lines).encode())

    def handle(self) -> None:
        if self.server.silent:
            while self.server.silent:
                time.sleep(0.05)
            return
        self.say("220 sink.example")
        to, how, first = "", How.OK, True
        while command := self.rfile.readline():
            match command[:4].upper():
                case b"EHLO":
                    self.say("250-sink.example", "250 SIZE 10000000")
                case b"RCPT":
                    to = command.partition(b"<")[2].partition(b">")[0].decode()
                    how = how_of(to)
                    with self.server.lock:
                        self.server.tries[to] += 1
                        first = self.server.tries[to] == 1
                    if how == How.DROP_AT_RCPT and first:
                        return self.hang_up()
                    time.sleep(1 if how == How.SLOW else 0)
                    self.say(self.rcpt(how, first))
                    if how == How.BUSY and first:
                        return None
                case b"DATA":
                    self.say("354 go on")
                    if how == How.DROP_EARLY and first:
                        self.rfile.readline()
                        return self.hang_up()
                    message = self.until_dot()
                    if how in CUTS and first:
                        with self.server.lock:
                            self.server.cut_after_dot += 1
                        if how == How.CUT_KEPT:
                            self.server.accept(to, message)
                        return self.hang_up()
                    answer = self.dot(how, first)
                    if answer.startswith("250"):
                        self.server.accept(to, message)
                    time.sleep(1 if how == How.SLOW else 0)
                    self.say(answer)
                case b"QUIT":
                    return self.say("221 bye")
                case _:
                    self.say("250 fine")
        return None

    @staticmethod
    def rcpt(how: How, first: bool) -> str:
        if how == How.DEFER_RCPT and first:
            return "450 4.2.0 greylisted, come again"
        if how == How.BUSY and first:
            return "421 4.3.2 too busy, closing"
        return "550 5.1.1 no such mailbox" if how == How.REFUSE_RCPT else "250 fine"

    @staticmethod
    def dot(how: How, first: bool) -> str:
        if how == How.DEFER_DOT and first:
            return "451 4.3.0 try later"
        return "554 5.7.1 not wanted here" if how == How.REFUSE_DOT else "250 2.0.0 kept"

    def until_dot(self) -> bytes:
        lines = []
        while (line := self.rfile.readline()) not in {b".\r\n", b""}:
            lines.append(line[1:] if line.startswith(b".") else line)
        if not line:
            raise ConnectionError("no final dot")
        return b"".join(lines)

    def hang_up(self) -> None:
        """At once, with a reset, as a process that is killed does."""
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        with contextlib.suppress(OSError):
            self.connection.close()


@contextlib.contextmanager
def sink() -> Iterator[Sink]:
    with Sink() as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
        thread.start()
        try:
            yield server
        finally:
            server.silent = False
            server.shutdown()
            thread.join()
