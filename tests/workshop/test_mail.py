"""Speaking SMTP: what is surely not sent, what surely is, and what nobody can know. RFC 5321."""

import ssl
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from studio.env import MailServer, Tls
from studio.running.place import free_port
from studio.workshop import mail
from tests.conftest import need_service
from tests.mail_sink import How, Sink, mailbox, sink

pytestmark = pytest.mark.once
MESSAGE = b"Subject: It is done\r\nMessage-ID: <1@yard.example>\r\n\r\nHello\r\n.\r\n..two dots\r\nbye\r\n"


@pytest.fixture
def server() -> Iterator[Sink]:
    with sink() as running:
        yield running


def plain(port: int) -> MailServer:
    return MailServer("127.0.0.1", port, "", "", Tls.NONE)


def hand_over(where: MailServer, to: str, message: bytes = MESSAGE) -> list[str]:
    """What was called when the dot was next."""
    called: list[str] = []
    mail.hand_over(where, message, sender="letters@yard.example", to=to, before_dot=lambda: called.append("dot next"))
    return called


@pytest.mark.parametrize("how", [How.OK, How.SLOW])
def test_what_the_server_takes_is_sent(server: Sink, how: How) -> None:
    assert hand_over(plain(server.port), mailbox(how, 1)) == ["dot next"]
    assert server.accepted == [(mailbox(how, 1), "<1@yard.example>")]
    assert server.messages[mailbox(how, 1)] == MESSAGE  # section 4.5.2: the dots that begin a line come through


@pytest.mark.parametrize(
    ("how", "words", "everybody"),
    [
        (How.DEFER_RCPT, "The mail server said: 450 4.2.0 greylisted, come again.", False),
        (How.DEFER_DOT, "The mail server said: 451 4.3.0 try later.", False),
        (How.BUSY, "The mail server said: 421 4.3.2 too busy, closing.", False),
        (How.DROP_AT_RCPT, "127.0.0.1 hung up.", False),
    ],
)
def test_not_now_is_surely_not_sent(server: Sink, how: How, words: str, everybody: bool) -> None:
    with pytest.raises(mail.NotNow) as problem:
        hand_over(plain(server.port), mailbox(how, 1))
    assert (str(problem.value), problem.value.everybody) == (words, everybody)
    assert server.accepted == []
    assert hand_over(plain(server.port), mailbox(how, 1)) == ["dot next"]
    assert len(server.accepted) == 1


@pytest.mark.parametrize("how", [How.REFUSE_RCPT, How.REFUSE_DOT])
def test_a_refusal_is_told_in_the_servers_words(server: Sink, how: How) -> None:
    with pytest.raises(mail.Refusal, match=r"The mail server said: 55\d 5\.\d\.1 no\w* \w+ \w+\."):
        hand_over(plain(server.port), mailbox(how, 1))
    assert server.accepted == []


@pytest.mark.parametrize("size", [1, 200_000])
def test_a_server_that_hangs_up_before_the_dot_is_noticed_before_it(server: Sink, size: int) -> None:
    message = b"Message-ID: <1@yard.example>\r\n\r\n" + b"x" * 70 * size
    for number in range(5):
        with pytest.raises(mail.NotNow):
            hand_over(plain(server.port), mailbox(How.DROP_EARLY, number), message)
    assert server.accepted == []


@pytest.mark.parametrize(("how", "kept"), [(How.CUT_KEPT, 1), (How.CUT_LOST, 0)])
def test_after_the_dot_without_an_answer_nobody_knows(server: Sink, how: How, kept: int) -> None:
    with pytest.raises(mail.NobodyKnows, match="never said whether it took it"):
        hand_over(plain(server.port), mailbox(how, 1))
    assert len(server.accepted) == kept


def test_whatever_stops_it_before_the_dot_goes_through_and_nothing_is_sent(server: Sink) -> None:
    def taken_back() -> None:
        raise OSError("the disk is full")

    with pytest.raises(OSError, match="the disk is full"):
        mail.hand_over(
            plain(server.port), MESSAGE, sender="a@yard.example", to=mailbox(How.OK, 1), before_dot=taken_back
        )
    time.sleep(0.2)
    assert server.accepted == []


def test_a_server_that_never_answers_is_given_up(server: Sink, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mail, "CONNECT_S", 0.3)
    server.silent = True
    began = time.monotonic()
    with pytest.raises(mail.NotNow, match=r"127\.0\.0\.1 does not answer\.") as problem:
        hand_over(plain(server.port), mailbox(How.OK, 1))
    assert problem.value.everybody
    assert time.monotonic() - began < 5


def test_a_server_that_never_answers_the_dot_is_nobodys_knowledge(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mail, "AFTER_DOT_S", 0.3)
    with sink() as server:
        with pytest.raises(mail.NobodyKnows):
            hand_over(plain(server.port), mailbox(How.SLOW, 1))
        time.sleep(1.5)
        assert len(server.accepted) == 1  # and so it was right not to say that it is lost


@pytest.mark.parametrize(
    ("host", "port", "words"),
    [("127.0.0.1", 1, "takes no connection at port 1"), ("no-such-host.invalid", 25, "no mail server by the name")],
)
def test_where_there_is_no_server_a_sentence_says_so(host: str, port: int, words: str) -> None:
    """RFC 2606, section 2: .invalid never resolves."""
    with pytest.raises(mail.NotNow, match=words) as problem:
        hand_over(MailServer(host, port, "", "", Tls.NONE), "a@b.example")
    assert problem.value.everybody


class Takes:
    """What aiosmtpd, a server that is not ours, makes of it."""

    def __init__(self) -> None:
        self.envelopes: list[Envelope] = []

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.envelopes.append(envelope)
        return "250 kept"


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    need_service("openssl")
    key, cert = tmp_path / "key.pem", tmp_path / "cert.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    command += ["-addext", "subjectAltName=DNS:localhost", "-keyout", str(key), "-out", str(cert)]
    subprocess.run(command, check=True, capture_output=True)
    return cert, key


class _Starttls(Controller):
    def __init__(self, handler: Any, certificate: tuple[Path, Path]) -> None:
        super().__init__(handler, hostname="localhost", port=free_port("localhost", 0))
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.load_cert_chain(*certificate)

    def factory(self) -> SMTP:
        def known(server: object, session: object, envelope: object, mechanism: str, data: object) -> AuthResult:
            right = isinstance(data, LoginPassword) and data == LoginPassword(b"yard", b"se cret")
            return AuthResult(success=right, handled=right)

        return SMTP(
            self.handler, tls_context=self.context, authenticator=known, auth_required=True, require_starttls=True
        )


def test_another_server_reads_the_same_bytes_over_tls_from_who_signed_in(
    certificate: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    takes = Takes()
    controller = _Starttls(takes, certificate)
    controller.start()
    try:
        where = MailServer("localhost", controller.port, "yard", "se cret", Tls.STARTTLS)
        with pytest.raises(mail.NotNow, match="The certificate of localhost is not good"):
            hand_over(where, "ok@sink.example")
        monkeypatch.setenv("SSL_CERT_FILE", str(certificate[0]))
        wrong = MailServer("localhost", controller.port, "yard", "guessed", Tls.STARTTLS)
        with pytest.raises(mail.NotNow, match="does not take the user name and password"):
            hand_over(wrong, "ok@sink.example")
        assert hand_over(where, "ok@sink.example") == ["dot next"]
    finally:
        controller.stop()
    (envelope,) = takes.envelopes
    assert envelope.content == MESSAGE
    assert (envelope.mail_from, envelope.rcpt_tos) == ("letters@yard.example", ["ok@sink.example"])


def test_nothing_is_sent_where_no_encryption_is_offered(server: Sink) -> None:
    with pytest.raises(mail.NotNow, match="offers no encryption"):
        hand_over(MailServer("127.0.0.1", server.port, "", "", Tls.STARTTLS), mailbox(How.OK, 1))
    assert server.tries.total() == 0
