"""What a phone's browser does: keeps cookies, reads the forms and pictures of a page, sends a form. No Django."""

import http.client
import socket
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from email.message import Message
from html.parser import HTMLParser
from urllib.parse import urlencode, urlsplit
from uuid import uuid4

TIMEOUT_S = 60.0
Fields = list[tuple[str, str]]


@dataclass
class Form:
    """``fields`` are sent as they stand; of ``buttons`` only the one that is pressed."""

    action: str
    fields: Fields = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    buttons: Fields = field(default_factory=list)

    def can_say(self, name: str, value: str) -> bool:
        return (name, value) in self.fields or (name, value) in self.buttons

    def saying(self, name: str, value: str) -> Fields:
        return [*((key, text) for key, text in self.fields if key != name), (name, value)]


class Page(HTMLParser):
    """A page's forms, and for each picture its addresses with their widths in px."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.pictures: list[list[tuple[str, int]]] = []
        self._form: Form | None = None
        self._textarea: str | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name, value, kind = given.get("name", ""), given.get("value", ""), given.get("type", "")
        if tag == "form":
            self._form = Form(given.get("action", ""))
            self.forms.append(self._form)
        elif tag == "img" and "srcset" in given:
            sources = (source.split() for source in given["srcset"].split(","))
            self.pictures.append([(address, int(width.rstrip("w"))) for address, width in sources])
        elif self._form is None or not name:
            return
        elif tag == "button" or kind in {"submit", "image", "button"}:
            self._form.buttons.append((name, value))
        elif tag == "textarea":
            self._textarea = name
            self._form.fields.append((name, ""))
        elif tag == "input" and kind == "file":
            self._form.files.append(name)
        elif tag == "input" and (kind not in {"radio", "checkbox"} or "checked" in given):
            self._form.fields.append((name, value))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "textarea":
            self._textarea = None

    def handle_data(self, data: str) -> None:
        if self._textarea and self._form:
            self._form.fields[-1] = (self._textarea, self._form.fields[-1][1] + data)

    def form_with(self, field: str) -> Form:
        return next(form for form in self.forms if any(name == field for name, _ in form.fields))

    def camera(self) -> Form:
        """The form that takes a photo and says with it that the stage is done."""
        return next(form for form in self.forms if form.files and form.can_say("says", "done"))


@dataclass(frozen=True)
class Answer:
    """Times are of the monotonic clock, in seconds: the last byte of the request sent, the first of the answer here."""

    status: int
    headers: Message
    body: bytes
    sent_at: float
    first_byte_at: float

    @property
    def location(self) -> str:
        return str(self.headers.get("Location", ""))

    @property
    def page(self) -> Page:
        return Page(self.body.decode())


class Phone:
    """A session with the studio. Whatever the network does is raised as OSError or HTTPException."""

    def __init__(self, url: str) -> None:
        self._host = urlsplit(url).netloc
        self._origin = url
        self.cookies: dict[str, str] = {}

    def get(self, path: str) -> Answer:
        return self.ask("GET", path)

    def post(self, path: str, fields: Fields) -> Answer:
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self.ask("POST", path, urlencode(fields).encode(), kind)

    def send_photo(self, path: str, fields: Fields, name: str, photo: bytes) -> Answer:
        boundary = uuid4().hex
        body = _multipart(boundary, fields, name, photo)
        return self.ask("POST", path, body, {"Content-Type": f"multipart/form-data; boundary={boundary}"})

    def sign_in(self, email: str, password: str) -> None:
        fields = self.get("/sign-in/").page.form_with("password").fields
        mine = {"email": email, "password": password}
        answer = self.post("/sign-in/", [(key, mine.get(key, value)) for key, value in fields])
        if answer.status not in {302, 303}:
            raise RuntimeError(f"Signing in was answered with {answer.status}.")

    def ask(self, method: str, path: str, body: bytes = b"", headers: Mapping[str, str] | None = None) -> Answer:
        line = http.client.HTTPConnection(self._host, timeout=TIMEOUT_S)
        try:
            line.connect()
            line.putrequest(method, path, skip_accept_encoding=True)
            for name, value in {**(headers or {}), "Origin": self._origin, "Connection": "close"}.items():
                line.putheader(name, value)
            if self.cookies:
                line.putheader("Cookie", "; ".join(f"{name}={value}" for name, value in self.cookies.items()))
            if body or method == "POST":
                line.putheader("Content-Length", str(len(body)))
            line.endheaders()
            line.sock.sendall(body)
            sent_at = time.monotonic()
            if not line.sock.recv(1, socket.MSG_PEEK):
                raise ConnectionResetError("the answer never came")
            first_byte_at = time.monotonic()
            response = line.getresponse()
            content = response.read()
        finally:
            line.close()
        for cookie in response.headers.get_all("Set-Cookie", []):
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value
        return Answer(response.status, response.headers, content, sent_at, first_byte_at)


def _multipart(boundary: str, fields: Sequence[tuple[str, str]], name: str, photo: bytes) -> bytes:
    """RFC 7578: each field, then the photo."""
    head = [f'--{boundary}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n' for key, value in fields]
    head += [f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"; filename="photo.jpg"\r\n']
    head += ["Content-Type: image/jpeg\r\n\r\n"]
    return "".join(head).encode() + photo + f"\r\n--{boundary}--\r\n".encode()
