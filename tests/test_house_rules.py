"""This checkout keeps the rules of the house; and each rule sees what breaks it."""

import re
from datetime import datetime, timedelta
from html import unescape
from pathlib import Path
from uuid import UUID

import pytest
from django.test import Client, override_settings

from studio.workshop import actions, duties, letters, links
from studio.workshop.models import Errand, ErrandState, Letter, Link, StageKind
from tests import builders, house

ROOT = Path(__file__).resolve().parent.parent
# What a client never reads: plans that slip, stock, and the shop's own tools.
NEVER = ("days over", "in hand", "in 20", "wanted twice", "the rod", "what if")

BROKEN = [
    (house.no_module_is_long, "studio/bench/views.py", "x = 1\n" * 301),
    (house.no_name_is_vague, "studio/workshop/utils.py", ""),
    (house.no_name_is_vague, "studio/workshop/services/letters.py", ""),
    (house.no_name_is_vague, "clientportal/_helpers.py", ""),
    (house.tasks_are_nudges, "studio/workshop/tasks.py", "@app.task(name='a')\ndef a(errand: Errand) -> None: ..."),
    (house.tasks_are_nudges, "studio/workshop/tasks.py", "@app.task\ndef a(one: str, two: str) -> None: ..."),
    (house.tasks_are_nudges, "studio/workshop/tasks.py", "@app.task\ndef a(**kwargs: str) -> None: ..."),
    (house.tasks_are_nudges, "studio/bench/views.py", "@shared_task\ndef a(key: str) -> None:\n" + "    b()\n" * 6),
    (house.only_the_edges_read_the_clock, "studio/workshop/letters.py", "at = timezone.now()"),
    (house.only_the_edges_read_the_clock, "studio/workshop/letters.py", "run(key, timezone.now)"),
    (house.only_the_edges_read_the_clock, "studio/workshop/photos.py", "import time\nage = time.time()"),
    (house.only_the_edges_read_the_clock, "studio/craft/plan.py", "day = datetime.date.today()"),
    (house.only_the_edges_read_the_clock, "studio/craft/plan.py", "at = datetime.now(UTC)"),
    (house.only_the_edges_read_the_clock, "clientportal/pages.py", "day = timezone.localdate()"),
    (house.only_the_edges_read_the_clock, "clientportal/pages.py", "from django.utils.timezone import now"),
    (house.only_the_edges_read_the_clock, "studio/front/myviews.py", "at = timezone.now()"),
    (house.one_module_opens_pictures, "studio/workshop/duties.py", "from PIL import Image"),
    (house.one_module_opens_pictures, "clientportal/views.py", "def view():\n    import PIL.Image"),
    (house.one_module_opens_pictures, "studio/front/media.py", "import pillow_heif"),
    (house.nothing_happens_unseen, "studio/workshop/apps.py", "from django.db.models.signals import post_save"),
    (house.nothing_happens_unseen, "studio/workshop/apps.py", "from django.db.models import signals"),
    (house.nothing_happens_unseen, "studio/workshop/apps.py", "from django.dispatch import receiver"),
    (house.nothing_happens_unseen, "studio/workshop/models/jobs.py", "class Job:\n    def save(self): ..."),
    (house.nothing_happens_unseen, "studio/workshop/models/jobs.py", "at = DateTimeField(auto_now_add=True)"),
    (house.nothing_happens_unseen, "studio/workshop/models/jobs.py", "at = DateTimeField(default=timezone.now)"),
    (house.views_are_functions, "studio/office/views/jobs.py", "from django.views.generic import ListView"),
    (house.views_are_functions, "studio/office/views/jobs.py", "from django.views import View"),
    (house.views_are_functions, "studio/office/urls.py", "path('', Jobs.as_view())"),
    (house.a_template_is_a_page_or_a_part, "studio/bench/templates/bench/list.html", "<h1>No base</h1>"),
    (house.a_template_is_a_page_or_a_part, "studio/bench/templates/bench/_row.html", '{% extends "base.html" %}'),
    (house.pages_bear_a_strict_policy, "studio/templates/base.html", '<p style="color: red">'),
    (house.pages_bear_a_strict_policy, "studio/templates/base.html", "<script>alert(1)</script>"),
    (house.pages_bear_a_strict_policy, "studio/templates/base.html", '<button onclick="go()">'),
    (house.pages_bear_a_strict_policy, "studio/workshop/templates/letters/a.html", '{% now "Y" %}'),
    (house.htmx_only_hastens, "studio/templates/base.html", '<button hx-get="/a/">More</button>'),
    (house.htmx_only_hastens, "studio/templates/base.html", '<button hx-post="/a/">Go</button>'),
    (house.htmx_only_hastens, "studio/templates/base.html", '<form><button data-hx-post="/a/">Go</button></form>'),
    (house.htmx_only_hastens, "studio/templates/base.html", '<form method="post"></form><a hx-delete="/a/">Go</a>'),
]
SOUND = [
    (house.no_module_is_long, "studio/workshop/migrations/0001_initial.py", "x = 1\n" * 900),
    (house.tasks_are_nudges, "studio/workshop/tasks.py", "@app.task\ndef a(key: str) -> None:\n" + "    b()\n" * 5),
    (house.only_the_edges_read_the_clock, "studio/office/views/jobs.py", "at = timezone.now()"),
    (house.only_the_edges_read_the_clock, "studio/workshop/management/commands/demo.py", "at = timezone.now()"),
    (house.only_the_edges_read_the_clock, "clientportal/pages.py", "day = timezone.localdate(at)"),
    (house.only_the_edges_read_the_clock, "studio/workshop/letters.py", "hour = at.time()"),
    (house.pages_bear_a_strict_policy, "studio/workshop/templates/letters/a.html", '<p style="margin:0">'),
    (house.htmx_only_hastens, "studio/templates/base.html", '<a href="/a/" hx-get="/a/">More</a>'),
    (
        house.htmx_only_hastens,
        "studio/templates/base.html",
        '<form method="post"><button hx-post="/a/">x</button></form>',
    ),
]


def plant(root: Path, path: str, content: str) -> None:
    (root / path).parent.mkdir(parents=True, exist_ok=True)
    (root / path).write_text(content)


@pytest.mark.once
@pytest.mark.parametrize("rule", house.RULES, ids=lambda rule: rule.__name__)
def test_this_checkout_keeps(rule: house.Rule) -> None:
    assert list(rule(ROOT)) == []


@pytest.mark.once
@pytest.mark.parametrize(("rule", "path", "content"), BROKEN)
def test_a_fault_is_seen(rule: house.Rule, path: str, content: str, tmp_path: Path) -> None:
    plant(tmp_path, path, content)
    (line,) = rule(tmp_path)
    assert line.startswith(path)


@pytest.mark.once
@pytest.mark.parametrize(("rule", "path", "content"), SOUND)
def test_what_is_sound_is_let_be(rule: house.Rule, path: str, content: str, tmp_path: Path) -> None:
    plant(tmp_path, path, content)
    assert list(rule(tmp_path)) == []


@pytest.mark.once
@pytest.mark.parametrize(
    ("part", "sound"),
    [
        ('{% load i18n %}<li id="row-{{ row.pk }}"><br><p>Done</p></li>\n', True),
        ('{% if row %}{% include "bench/_other.html" %}{% else %}<p id="row">None</p>{% endif %}', True),
        ("<li><p>No id</p></li>", False),
        ('<li id="a"></li><li id="b"></li>', False),
        ('<li id="a"></li> and words', False),
    ],
)
def test_a_part_that_is_swapped_in_has_one_root_with_an_id(part: str, sound: bool, tmp_path: Path) -> None:
    plant(tmp_path, "studio/bench/templates/bench/_row.html", part)
    assert list(house.a_template_is_a_page_or_a_part(tmp_path)) == []  # it is only included somewhere
    plant(tmp_path, "studio/bench/views.py", 'render_part(request, "bench/rows.html", "bench/_row.html", {})')
    assert (list(house.a_template_is_a_page_or_a_part(tmp_path)) == []) is sound


# what clients read


def words_of(html: str) -> str:
    """What a person reads of a page, on one line, in lower case."""
    return " ".join(unescape(re.sub(r"<style.*?</style>|<[^>]+>", " ", html, flags=re.DOTALL)).split()).lower()


def never_words(text: str) -> list[str]:
    return [phrase for phrase in NEVER if phrase in words_of(text)]


@pytest.mark.once
@pytest.mark.parametrize("phrase", NEVER)
def test_a_never_phrase_is_found_across_tags_and_lines(phrase: str) -> None:
    first, _, rest = phrase.partition(" ")
    assert never_words(f"<p>It is <b>{first.upper()}</b>\n{rest}&nbsp;now.</p>") == [phrase]


@pytest.mark.once
def test_plain_english_is_not_taken_for_a_never_phrase() -> None:
    assert never_words("<p>It dried over two nights, in good hands.</p>") == []


def follow_each_kind(now: datetime) -> list[Link]:
    """One followed job whose stages are of every kind, done but the last two, and one that has just begun."""
    actions.set_out_studio()
    kinds = [kind.name for kind in StageKind.objects.all()]
    going = builders.job("Giant boot", client="Lower School", stages=kinds)
    begun = builders.job("Leaning lamp post", client="Harbour Museum")
    found = [builders.link(job) for job in (going, begun)]
    for hours, name in enumerate(kinds[:-2]):
        builders.log_done(builders.stage(going, name), now=now + timedelta(hours=hours))
    builders.confirm(going, words="It stands, and is drying.", by=builders.lead(), now=now)
    return found


def send_all(now: datetime) -> list[UUID]:
    later = now + timedelta(days=2)
    for _ in range(2):  # the photos, then the letters that waited for them
        for errand in Errand.objects.filter(state=ErrandState.WAITING):
            duties.run(errand.pk, lambda: later)
    return list(Letter.objects.values_list("pk", flat=True))


@pytest.mark.django_db
def test_no_letter_holds_a_never_phrase(now: datetime, published: list[str]) -> None:
    follow_each_kind(now)
    sent = [letters.read_outbox(key) for key in send_all(now)]
    assert len(sent) == StageKind.objects.count() - 2
    for letter in sent:
        assert letter.picture
        assert never_words(" ".join((letter.subject, letter.text, letter.html))) == []


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
@override_settings(ALLOWED_HOSTS=["testserver"])
def test_no_page_of_a_client_holds_a_never_phrase(now: datetime, published: list[str], client: Client) -> None:
    followed = follow_each_kind(now)
    send_all(now)
    for link in followed:
        answer = client.get(links.path_for(link))
        assert answer.status_code == 200
        assert link.job.name.lower() in words_of(answer.content.decode())
        assert never_words(answer.content.decode()) == []
