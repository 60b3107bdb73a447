"""Speaks SMTP (RFC 5321) with one mail server, up to the final dot and, once told to, past it.

Until the final dot the server has taken nothing over (section 4.1.1.4); from then on, only its answer tells. So each end has
an exception of its own:

NotNow        surely not sent; later it may be
Refusal       surely not sent, and never will be as it stands
NobodyKnows   the dot was sent and no answer came
"""

import re
import select
import smtplib
import socket
import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager

from studio.env import MailServer, Tls

CONNECT_S, REPLY_S = 10, 20
# RFC 5321, 4.5.3.2.6, would wait ten minutes for the answer to the dot. A worker of two cannot: after this it is nobody's
# knowledge, and a person looks.
AFTER_DOT_S = 90
# Little is on its way when the last byte is written, so that a server that hung up meanwhile is noticed before the dot.
SEND_BUFFER_BYTES = 16_384
LONGEST_REPLY = 160
_NO_ANSWER = "The mail server had all of it, and never said whether it took it."


class NotNow(Exception):
    """The message is a sentence. ``everybody``: the server takes no letter at all just now, whoever it is to."""

    def __init__(self, sentence: str, *, everybody: bool = False) -> None:
        super().__init__(sentence)
        self.everybody = everybody


class Refusal(Exception):
    """The message is a sentence with the server's own words."""


class NobodyKnows(Exception):
    """The message is a sentence."""


def hand_over(server: MailServer, mail: bytes, *, sender: str, to: str, before_dot: Callable[[], None]) -> None:
    """Returns once the server has said that it took the letter.

    ``mail`` is the whole message with CRLF. ``before_dot`` is called when all of it is there but the dot: whatever it
    raises goes through, and nothing was sent. Raises NotNow, Refusal, NobodyKnows.
    """
    with ExitStack() as open_line:
        with _told_in_sentences(server):
            line = open_line.enter_context(closing(_connect(server, domain=sender.rpartition("@")[2])))
            _make_ready(line, server)
            _expect(*line.mail(sender), everybody=True)
            _expect(*line.rcpt(to))
            asked = time.monotonic()
            _expect(*line.docmd("DATA"), good=354)
            round_trip_s = time.monotonic() - asked
            line.send(_with_dots_doubled(mail))
            _still_listening(line, wait_s=min(1.0, max(0.1, 2 * round_trip_s)))
        before_dot()
        _expect(*_answer_to_dot(line))
        _say_goodbye(line)


def _connect(server: MailServer, domain: str) -> smtplib.SMTP:
    if server.tls == Tls.AT_ONCE:
        context = ssl.create_default_context()
        return smtplib.SMTP_SSL(server.host, server.port, domain, timeout=CONNECT_S, context=context)
    return smtplib.SMTP(server.host, server.port, domain, timeout=CONNECT_S)


def _make_ready(line: smtplib.SMTP, server: MailServer) -> None:
    """Until letters may be given. Whatever goes wrong here concerns every letter."""
    _socket(line).settimeout(REPLY_S)
    _socket(line).setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
    line.ehlo_or_helo_if_needed()
    if server.tls == Tls.STARTTLS:
        if not line.has_extn("starttls"):
            raise NotNow(f"{server.host} offers no encryption (STARTTLS), so nothing is sent.", everybody=True)
        line.starttls(context=ssl.create_default_context())
        line.ehlo()
    if server.user:
        line.login(server.user, server.password)


def _socket(line: smtplib.SMTP) -> socket.socket:
    if line.sock is None:
        raise smtplib.SMTPServerDisconnected("not connected")
    return line.sock


@contextmanager
def _told_in_sentences(server: MailServer) -> Iterator[None]:
    """What goes wrong on the line before the dot."""
    host = server.host
    try:
        yield
    except smtplib.SMTPAuthenticationError as error:
        raise NotNow(f"{host} does not take the user name and password of the studio.", everybody=True) from error
    except smtplib.SMTPNotSupportedError as error:
        raise NotNow(f"{host} offers no way to sign in that is known here.", everybody=True) from error
    except smtplib.SMTPResponseException as error:
        said = _one_line(error.smtp_code, error.smtp_error)
        raise NotNow(f"The mail server said: {said}", everybody=True) from error
    except smtplib.SMTPServerDisconnected as error:
        silent = isinstance(error.__context__, TimeoutError)
        raise NotNow(f"{host} {'does not answer' if silent else 'hung up'}.", everybody=silent) from error
    except ssl.SSLCertVerificationError as error:
        raise NotNow(f"The certificate of {host} is not good: {error.verify_message}.", everybody=True) from error
    except TimeoutError as error:
        raise NotNow(f"{host} does not answer.", everybody=True) from error
    except socket.gaierror as error:
        raise NotNow(f"There is no mail server by the name of {host}.", everybody=True) from error
    except ConnectionRefusedError as error:
        raise NotNow(f"{host} takes no connection at port {server.port}.", everybody=True) from error
    except OSError as error:
        raise NotNow(f"The line to {host} broke ({error.strerror or type(error).__name__}).") from error


def _expect(code: int, words: bytes | str, *, good: int = 250, everybody: bool = False) -> None:
    """RFC 5321, 4.2.1: 4yz may be tried again, 5yz not. What it says about us and not
    about one letter is ours to mend, so the letter waits for that."""
    if code == good or (good == 250 and code == 251):
        return
    said = f"The mail server said: {_one_line(code, words)}"
    if everybody or not 400 <= code <= 599:
        raise NotNow(said, everybody=everybody)
    raise Refusal(said) if code >= 500 else NotNow(said)


def _one_line(code: int, words: bytes | str) -> str:
    text = words.decode(errors="replace") if isinstance(words, bytes) else words
    plain = " ".join(re.sub(r"[^\x20-\x7e]", " ", text).split())[:LONGEST_REPLY].rstrip(".")
    return f"{code} {plain}.".replace(" .", ".")


def _with_dots_doubled(mail: bytes) -> bytes:
    """RFC 5321, 4.5.2. Ends with a line end, and without the dot."""
    doubled = re.sub(rb"(?m)^\.", b"..", mail)
    return doubled if doubled.endswith(b"\r\n") else doubled + b"\r\n"


def _still_listening(line: smtplib.SMTP, wait_s: float) -> None:
    """A server that hung up, or that already said no, says so now. TLS may send words of its own, so a byte is tried."""
    wire = _socket(line)
    select.select([wire], [], [], wait_s)
    wire.settimeout(0)
    try:
        first = wire.recv(1)
    except (BlockingIOError, ssl.SSLWantReadError):
        return
    finally:
        wire.settimeout(REPLY_S)
    if not first:
        raise smtplib.SMTPServerDisconnected("hung up in the middle of the letter")
    code, _, words = (first + line.file.readline(512)).partition(b" ")  # type: ignore[union-attr]
    _expect(int(code) if code.isdigit() else 0, words)


def _answer_to_dot(line: smtplib.SMTP) -> tuple[int, bytes]:
    try:
        wire = _socket(line)
        wire.settimeout(AFTER_DOT_S)
        wire.sendall(b".\r\n")
        code, words = line.getreply()
    except OSError as error:
        raise NobodyKnows(_NO_ANSWER) from error
    if not 200 <= code <= 599:
        raise NobodyKnows(_NO_ANSWER)
    return 250 if code < 300 else code, words


def _say_goodbye(line: smtplib.SMTP) -> None:
    """The letter is theirs; how the line ends is no matter."""
    try:
        line.quit()
    except OSError:
        return
