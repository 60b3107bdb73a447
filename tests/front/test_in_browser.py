"""Every page in a real browser, from the real web server: what the policy forbids, no page asks for."""

from collections.abc import Iterator, Mapping

import pytest
from django.utils import timezone
from playwright.sync_api import APIResponse, Browser, BrowserContext, Page, Response
from pytest_django import Settings

from studio.workshop.models import Person, Studio
from tests import builders, doors
from tests.house import Tree

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases=["default", "portal"])]

PASSWORD = "a lump of wet plaster"
EVERYWHERE = {
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
# Letters, as their readers see them: mail has no style sheet, so theirs stands in attributes. Each lies in a sandbox.
LETTERS = {"office-letter-html", "office-notice-html"}
TELLS = (
    "document.addEventListener('securitypolicyviolation', e => console.error(`${e.violatedDirective} ${e.blockedURI}`))"
)


@pytest.fixture
def stranger(chromium: Browser) -> Iterator[BrowserContext]:
    context = chromium.new_context()
    context.add_init_script(TELLS)
    yield context
    context.close()


@pytest.fixture
def lead(stranger: BrowserContext, url: str) -> BrowserContext:
    """Signed in by the form, and let into the raw record too, so that every door opens."""
    ines = builders.lead()
    ines.set_password(PASSWORD)
    ines.is_superuser = True
    ines.save()
    page = stranger.new_page()
    page.goto(f"{url}/sign-in/")
    page.get_by_label("E-mail").fill(ines.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/office/**")
    page.close()
    return stranger


def wrong_headers(path: str, headers: Mapping[str, str], frame: bool = False) -> list[str]:
    """A line for each header that is not as it should be; ``headers`` by small names. ``frame``: it stands in one of ours."""
    client = path.startswith("/with/")
    expected = EVERYWHERE | {
        "referrer-policy": "no-referrer" if client else "same-origin",
        "x-frame-options": "SAMEORIGIN" if frame else "DENY",
    }
    found = [f"{path}: {name} is {headers.get(name)}" for name, value in expected.items() if headers.get(name) != value]
    policy = headers.get("content-security-policy", "")
    parts = {part.split()[0]: part.split()[1:] for part in policy.split(";") if part.strip()}
    if parts.get("default-src") != ["'none'"] or parts.get("base-uri") != ["'none'"]:
        found.append(f"{path}: the policy begins with {policy[:40]!r}")
    if parts.get("frame-ancestors") != (["'self'"] if frame else ["'none'"]):
        found.append(f"{path}: it may be framed by {parts.get('frame-ancestors')}")
    if "'unsafe" in policy and not frame:
        found.append(f"{path}: the policy is {policy}")
    if client and "script-src" in policy:
        found.append(f"{path}: a client's page may have scripts")
    if "microphone=()" not in headers.get("permissions-policy", ""):
        found.append(f"{path}: it may ask for more than the camera")
    return found


def inline(path: str, html: str) -> list[str]:
    """What stands in the page itself, as it was sent, and should come from a file."""
    tags = Tree(html).tags
    found = [f"{path}: <{tag}> has a style" for tag, given in tags if "style" in given]
    found += [f"{path}: <{tag}> has {name}" for tag, given in tags for name in given if name.startswith("on")]
    return found + [f"{path}: a script stands in it" for tag, given in tags if tag == "script" and "src" not in given]


def visit(page: Page, url: str, path: str) -> list[str]:
    """What the browser complains of, and what of the page and its files is not as it should be."""
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(f"{path}: {said.text}") if said.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(f"{path}: {error}"))
    answer = page.goto(url + path)
    assert answer
    if answer.status >= 400:  # which the browser says, too
        complaints = [line for line in complaints if f"status of {answer.status}" not in line]
    complaints += inline(path, answer.text())
    if "/admin/" not in path:  # nor does a script of ours put one there
        complaints += [f"{path}: a script gave a style to {tag}" for tag in page.evaluate(STYLED)]
    return complaints


def answers(page: Page) -> list[Response]:
    """All that it is given from now on."""
    found: list[Response] = []
    page.on("response", lambda one: found.append(one))
    return found


STYLED = "[...document.querySelectorAll('[style]')].map(one => one.tagName)"


def is_page(answer: APIResponse) -> bool:
    return answer.headers.get("content-type", "").startswith("text/html")


def test_every_door_answers_with_its_headers_and_every_page_is_quiet(lead: BrowserContext, url: str) -> None:
    things = doors.things(now=timezone.now())
    complaints: list[str] = []
    pages = 0
    for route in doors.routes():
        path = route.address(things)
        answer = lead.request.get(url + path, max_redirects=0)
        letter = route.name in LETTERS
        complaints += wrong_headers(path, answer.headers, frame=letter)
        if is_page(answer) and answer.status != 405 and not letter:
            page = lead.new_page()
            files = answers(page)
            complaints += visit(page, url, path)
            for file in files:
                if file.url.startswith(url):
                    its = file.url.removeprefix(url)
                    complaints += wrong_headers(its, file.headers, frame=its.endswith("/html/"))
            page.close()
            pages += 1
    assert complaints == []
    assert pages > 90


def test_a_stranger_finds_the_same(stranger: BrowserContext, url: str) -> None:
    things = doors.things(now=timezone.now())
    page = stranger.new_page()
    assert visit(page, url, "/sign-in/") == []
    for route in doors.routes():
        path = route.address(things)
        answer = stranger.request.get(url + path, max_redirects=0)
        assert wrong_headers(path, answer.headers) == []


def test_pages_for_when_something_is_wrong_are_quiet_too(lead: BrowserContext, url: str, settings: Settings) -> None:
    settings.ROOT_URLCONF = "tests.front.pages"
    found = []
    for path in ("/nowhere/", "/odd/", "/denied/", "/too-big/", "/breaks/", "/with/abc/", "/with/abc/breaks/"):
        answer = lead.request.get(url + path)
        found.append(answer.status)
        assert wrong_headers(path, answer.headers) == []
        assert visit(lead.new_page(), url, path) == []
    assert found == [404, 400, 403, 413, 500, 404, 500]
    large = lead.request.post(f"{url}/light/", data="x" * 1_000_001)
    assert (large.status, wrong_headers("/light/", large.headers)) == (413, [])


def test_cookies_are_out_of_reach_of_scripts_and_other_sites(lead: BrowserContext, url: str) -> None:
    cookies = {cookie["name"]: cookie for cookie in lead.cookies()}
    assert set(cookies) == {"sessionid", "csrftoken", "browser"}
    for cookie in cookies.values():
        assert (cookie["httpOnly"], cookie["sameSite"], cookie["path"]) == (True, "Lax", "/")
    page = lead.new_page()
    page.goto(f"{url}/robots.txt")
    assert page.evaluate("document.cookie") == ""


def test_nobody_frames_the_studio_but_the_studio_its_letters(lead: BrowserContext, url: str) -> None:
    things = doors.things(now=timezone.now())
    page = lead.new_page()
    letter = f"/office/letters/{things['letter_id']}/"
    page.goto(url + letter, wait_until="networkidle")
    (frame,) = page.frames[1:]
    assert "Talking watering can" in frame.locator("body").inner_text()
    # A page that may frame whatever it likes, under the studio's own address: what is shown hangs on what is framed.
    page.route("**/free/", lambda route: route.fulfill(body="<!doctype html>", content_type="text/html"))
    page.goto(f"{url}/free/")
    shown = {}
    for path in (f"{letter}html/", "/office/", "/sign-in/", "/admin/", "/robots.txt"):
        page.evaluate(FRAME, path)
        shown[path] = page.frames[-1].url == url + path  # one that is refused holds a page of the browser's own
    assert shown == {path: path.startswith(letter) for path in shown}


FRAME = """address => new Promise(done => {
    const frame = document.createElement('iframe')
    frame.onload = () => done()
    frame.src = address
    document.body.append(frame)
})"""


def test_the_raw_record_needs_no_weaker_policy(lead: BrowserContext, url: str) -> None:
    """Its style sheets arrive: a page that the policy had stripped would be quiet, too."""
    page = lead.new_page()
    pk = Person.objects.get().pk
    for path in ("/admin/", "/admin/workshop/person/", f"/admin/workshop/person/{pk}/change/"):
        assert visit(page, url, path) == []
        assert page.evaluate("getComputedStyle(document.querySelector('#header')).display") == "flex"
        assert "script-src 'self';" in lead.request.get(url + path).headers["content-security-policy"]


NARROW, WIDE, LARGE_TEXT = (320, 600), (1280, 800), (640, 800)  # 200 % text on 1280 px is as wide as 640


def test_the_demo_is_left_by_its_form_on_any_screen(lead: BrowserContext, url: str) -> None:
    doors.things(now=timezone.now())
    Studio.objects.update(demo=True)
    page = lead.new_page()
    for width, height in (NARROW, LARGE_TEXT, WIDE):
        page.set_viewport_size({"width": width, "height": height})
        assert visit(page, url, "/office/") == []
        page.get_by_role("link", name="Start with our own studio").click()
        page.wait_for_url("**/office/own-studio/")
        assert visit(page, url, "/office/own-studio/") == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        link = page.get_by_role("link", name="Start with our own studio").bounding_box()
        assert link
        assert link["height"] >= 44
    typed = ("Tallow Lane Works", "Oda", "oda@tallowlane.example", "a lump of dry clay", "a lump of dry clay")
    labels = ("Name of the studio", "Your name", "Your e-mail address", "New password", "The same once more")
    for label, words in zip(labels, typed, strict=True):
        page.get_by_label(label).fill(words)
    page.get_by_label("Time zone").select_option("Asia/Kathmandu")
    page.get_by_label("Friday").uncheck()
    page.get_by_label("The same once more").press("Enter")
    page.wait_for_url("**/office/")
    assert "What to do first" in page.locator("main").inner_text()
    assert page.locator("aside.demo").count() == 0
    studio = Studio.objects.get()
    assert (studio.name, studio.time_zone, [bool(day) for day in studio.hours]) == (
        "Tallow Lane Works", "Asia/Kathmandu", [True] * 4 + [False] * 3,
    )  # fmt: skip
    assert visit(page, url, "/office/people/") == []
