"""Every screen in a real browser, on a phone, a narrow phone and a desk, by day and in the dark.

axe-core looks for what keeps people out (WCAG 2.0 to 2.2, levels A and AA, and its best practices); what it cannot see is
looked for here: what runs off the side, what a finger misses, and where the focus goes by keyboard.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from django.conf import settings as configured
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page
from pytest_django import Settings

from studio.workshop.models import Person
from tests import builders
from tests.front import screens
from tests.front.conftest import ROOT

pytestmark = [
    pytest.mark.browser,
    pytest.mark.once,
    pytest.mark.django_db(transaction=True, databases=["default", "portal"]),
]

(AXE,) = (ROOT / "tests/vendor").glob("axe-core-*.js")
LOOK_AT = Path(__file__).with_name("look_at.js")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
FIND = """async tags => {
    const { violations } = await axe.run(document, { runOnly: tags, resultTypes: ["violations"] })
    return violations.flatMap(({ id, nodes }) => nodes.map(({ target, failureSummary }) =>
        `${id}: ${target.join(" ")}: ${failureSummary.split("\\n").slice(1).join(" ").trim()}`))
}"""
WIDTHS = (320, 390, 1280)
LEAST_PX = 44
MOST_PARTS = 6  # of a date: day, month, year, the calendar, and what a browser may add


@dataclass(frozen=True)
class Visitor:
    """A browser that goes from screen to screen as whoever each is for."""

    url: str
    tour: Sequence[screens.Screen]
    contexts: dict[screens.Who, BrowserContext]
    complaints: list[str]

    def look(self, width: int) -> Iterator[tuple[screens.Screen, Page]]:
        pages = {who: context.new_page() for who, context in self.contexts.items()}
        for page in pages.values():
            page.set_viewport_size({"width": width, "height": 844 if width < 700 else 900})
        for screen in self.tour:
            page = pages[screen.who]
            before = len(self.complaints)
            answer = page.goto(self.url + screen.address)
            assert answer
            if screen.sent:
                page.locator("main form[method=post]:has(.field)").first.evaluate(EMPTIED, timeout=5000)
                page.locator("main :is(.err, .say.bad, .wrong)").first.wait_for(timeout=5000)
            if answer.status >= 400 or screen.sent:  # which the browser says, too
                self.complaints[before:] = [
                    one for one in self.complaints[before:] if "Failed to load resource" not in one
                ]
            yield screen, page
        for page in pages.values():
            page.close()


EMPTIED = """form => {
    for (const one of form.elements) if (one.type !== "hidden" && !one.matches("select, [type=radio], [type=checkbox]")) one.value = ""
    form.noValidate = true
    form.requestSubmit()
}"""


@pytest.fixture
def visitor(chromium: Browser, url: str, settings: Settings, request: pytest.FixtureRequest) -> Iterator[Visitor]:
    now = timezone.now()
    found = screens.screens(screens.fill(now), now)
    settings.ROOT_URLCONF = "tests.front.pages"
    script = getattr(request, "param", True)
    ines = builders.lead()
    ines.set_password("a lump of wet plaster")  # else there is none to change
    ines.save()
    people: dict[screens.Who, Person | None] = {"lead": ines, "maker": builders.person("Ada"), "stranger": None}
    contexts: dict[screens.Who, BrowserContext] = {}
    complaints: list[str] = []
    for who, person in people.items():
        context = contexts[who] = chromium.new_context(locale="en-GB", java_script_enabled=script)
        context.add_init_script(path=LOOK_AT)
        context.on("console", lambda said: complaints.append(f"{said.page.url if said.page else ''}: {said.text}"))
        context.on("weberror", lambda error: complaints.append(str(error.error)))
        if person:
            client = Client()
            client.force_login(person)
            session = client.cookies[configured.SESSION_COOKIE_NAME].value
            context.add_cookies([{"name": configured.SESSION_COOKIE_NAME, "value": session, "url": url}])
    # An address that takes only forms answers with the one page that says so, which is looked at once.
    answered = [(one, contexts[one.who].request.get(url + one.address).status) for one in found]
    looked_at = [one for one, status in answered if status != 405 or one.address == screens.WRONG[-1]]
    yield Visitor(url, looked_at, contexts, complaints)
    for context in contexts.values():
        context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_nobody_is_kept_out(visitor: Visitor, width: int) -> None:
    found = []
    for screen, page in visitor.look(width):
        lines = page.evaluate(
            "least => [...lookAt.offTheSide(), ...lookAt.tooSmall(least), ...lookAt.headings()]", LEAST_PX
        )
        page.evaluate(AXE.read_text(encoding="utf-8"))
        for light in ("light", "dark"):
            page.emulate_media(color_scheme=light)
            lines += [f"{light}: {line}" for line in page.evaluate(FIND, RULES)]
        page.emulate_media(color_scheme="light")
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        lines += [f"in letters of 200 %: {line}" for line in page.evaluate("lookAt.offTheSide()")]
        found += [f"{screen}: {line}" for line in lines]
    assert not found, "\n".join(found)
    assert visitor.complaints == []
    assert len(visitor.tour) > 70


@pytest.mark.parametrize("width", [390, 1280])
def test_the_tab_key_reaches_every_act_in_order_and_shows_where_it_is(visitor: Visitor, width: int) -> None:
    found = []
    for screen, page in visitor.look(width):
        found += [f"{screen}: {line}" for line in tabbed(page)]
    assert not found, "\n".join(found)


def tabbed(page: Page) -> list[str]:
    """What is wrong on one way round, from wherever the page puts the focus first."""
    page.evaluate("document.activeElement.blur(), getSelection().removeAllRanges()")
    stops = page.evaluate("lookAt.stops()")
    reached: list[int] = []
    wrong: list[str] = []
    for _ in range(MOST_PARTS * len(stops)):  # a date is one act of several stops
        page.keyboard.press("Tab")
        at, name, lines = page.evaluate("lookAt.focused()")
        if at in reached[:-1]:
            break
        if at < 0 and name.split()[0] != "body":  # between the last and the first a browser shows its own
            wrong.append(f"the focus is on {name}, which is no act")
        elif at >= 0 and at not in reached:
            reached.append(at)
            wrong += lines
    first = reached[0] if reached else 0
    if reached != [*range(first, len(stops)), *range(first)]:
        wrong.append(f"{[stops[at] for at in reached]} were reached, of {stops}")
    return wrong


@pytest.mark.parametrize("visitor", [False], indirect=True, ids=["no script"])
def test_without_script_every_act_is_there(visitor: Visitor) -> None:
    found = []
    for screen, page in visitor.look(390):
        page.evaluate(LOOK_AT.read_text(encoding="utf-8"))
        lines = page.evaluate(
            "least => [...lookAt.offTheSide(), ...lookAt.tooSmall(least), ...lookAt.headings(), ...lookAt.dead()]",
            LEAST_PX,
        )
        found += [f"{screen}: {line}" for line in lines]
    assert not found, "\n".join(found)


def test_in_forced_colours_every_act_has_an_edge_and_words_that_show(visitor: Visitor) -> None:
    found = []
    for screen, page in visitor.look(390):
        page.emulate_media(forced_colors="active")
        found += [f"{screen}: {line}" for line in page.evaluate("lookAt.faint()")]
    assert not found, "\n".join(found)


def test_how_a_job_stands_is_a_word_and_not_a_colour_alone(visitor: Visitor) -> None:
    """WCAG 2.2, 1.4.1: in grey, over, tight and in hand are told apart all the same."""
    deadlines = replace(visitor, tour=[screens.Screen("/office/", "lead")])
    for _, page in deadlines.look(390):
        told = page.locator(".lies > li").evaluate_all(STANDS)
        assert len(told) >= 10
        assert all(word for _, word in told)
        assert {late for late, word in told} == {True, False}
        assert all(("over" in word) is late for late, word in told)


STANDS = "lines => lines.map(one => [one.classList.contains('over'), one.querySelector('.word').innerText])"


BROKEN = {
    "image-alt": '<img src="data:,">',
    "color-contrast": '<p style="color:#999;background:#fff">faint</p>',
    "label: ": '<input name="who">',
    "px run off the side": '<p style="width:500px">wide</p>',
    'a "Small" is': '<a href="/" style="display:inline-block">Small</a>',
    "2 headings of the first rank": "<h1>Another</h1>",
    "has the focus behind something": '<a href="/">Under</a><b style="position:fixed;inset:0;background:#fff">cover</b>',
    "does not show that it has the focus": '<a href="/" style="outline:0">Plain</a>',
    "were reached, of": '<a href="/">First</a><a href="/" tabindex="1">Second</a><a href="/">Third</a>',
    "has no edge": '<button class="btn" style="border:0">Flat</button>',
    "cannot be told from its ground": '<a href="/" style="color:#fff;background:#fff">Lost</a>',
    "does nothing without script": '<button type="button">Dead</button>',
}


@pytest.mark.parametrize(("said", "fault"), BROKEN.items(), ids=BROKEN)
def test_a_fault_is_seen(chromium: Browser, said: str, fault: str) -> None:
    page = chromium.new_page(viewport={"width": 320, "height": 640})
    page.set_content(f'<!doctype html><html lang="en"><title>Page</title><main><h1>Page</h1>{fault}</main>')
    for script in (LOOK_AT, AXE):
        page.evaluate(script.read_text(encoding="utf-8"))
    found = page.evaluate(
        f"[...lookAt.offTheSide(), ...lookAt.tooSmall({LEAST_PX}), ...lookAt.headings(), ...lookAt.dead()]"
    )
    found += page.evaluate("lookAt.faint()")
    found += page.evaluate(FIND, RULES) + tabbed(page)
    page.close()
    assert any(said in line for line in found), found
