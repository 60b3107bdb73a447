"""What stands on the client's page, and in which order."""

import re
from datetime import date, timedelta

import pytest
import time_machine
from django.test import Client

from studio.workshop import actions
from studio.workshop.links import path_for
from studio.workshop.models import Job, Link, Photo, Release, Role, StageKind, Studio
from tests import builders
from tests.clientportal.looking import add_photos, in_order, look, words_of
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])
WEEK = timedelta(days=7)


def test_the_whole_page_in_its_order(can: Job, priya: Link) -> None:
    builders.confirm(can, words="It is on time.", by=builders.lead(), now=NOW)
    builders.log_done(builders.stage(can), sentence="Cut from six blocks.", now=NOW - WEEK)
    builders.log_done(builders.stage(can, "mould"), sentence="In two halves.")
    builders.work()
    text = words_of(look(priya))
    in_order(
        text,
        "for Priya at Wharfside Theatre",
        "Talking watering can, so far",
        "It is on time.",
        "Confirmed by Ines, Tue 10 Mar at 10:42",
        "Mould Tuesday 10 March In two halves.",
        "Built up so far, newest on top",
        "Lay-up To come",
        "Mould Done Tuesday 10 March 2026 In two halves.",
        "Its newest photo is at the top of the page.",
        "Carving Done Tuesday 3 March 2026 Cut from six blocks.",
        "Questions? Ask Ines: ines@bodkinyard.example",
        "This page is only for you. Anyone with the link can read it and nobody can change it.",
    )


def test_just_begun(can: Job, priya: Link) -> None:
    text = words_of(look(priya))
    assert "Nothing is confirmed yet. Ines will write here as soon as there is something to tell." in text
    assert "Confirmed by" not in text
    assert "There is no photo yet." in text
    told, _, on_paper = text.partition("As it stood on ")
    assert not re.search(r"\b(January|February|March|20\d\d)\b", told)
    assert on_paper.startswith("Tuesday 10 March 2026.")


def test_no_stage_set_out_yet() -> None:
    link = builders.link(builders.job(stages=()))
    assert "The stages are not set out yet." in words_of(look(link))


def test_the_last_words_stand_with_who_said_them_and_when(can: Job, priya: Link) -> None:
    bea = builders.person("Bea", Role.LEAD)
    builders.confirm(can, words="First words.", by=builders.lead(), now=NOW - WEEK)
    builders.confirm(can, words="Later words.", by=bea, now=NOW)
    text = words_of(look(priya))
    assert "Later words. Confirmed by Bea, Tue 10 Mar at 10:42" in text
    assert "First words." not in text
    assert "Ask Bea:" in text
    assert "Tue 10 Mar 2026 at 10:42" in words_of(look(priya, NOW + 52 * WEEK))


def test_whoever_has_left_is_not_asked(can: Job, priya: Link) -> None:
    bea = builders.person("Bea", Role.LEAD)
    builders.confirm(can, words="Words.", by=bea, now=NOW)
    actions.change_person(
        bea, name="Bea", email=bea.email, role=Role.LEAD, is_active=False, version=1, by=builders.lead(), now=NOW
    )
    assert "Ask Ines:" in words_of(look(priya))


def test_no_day_of_the_plan_is_told(can: Job, priya: Link) -> None:
    Job.objects.filter(pk=can.pk).update(van_day=date(2026, 5, 21), wanted_day=date(2026, 5, 28))
    assert "May" not in words_of(look(priya))


def test_days_and_hours_are_the_shops(can: Job, priya: Link) -> None:
    """10:42 in London is 23:42 in Auckland (UTC+13 while it is summer there; IANA time zone database)."""
    Studio.objects.update(time_zone="Pacific/Auckland")
    builders.confirm(can, words="Words.", by=builders.lead(), now=NOW + timedelta(hours=2))
    builders.log_done(builders.stage(can), now=NOW + timedelta(hours=2))
    text = words_of(look(priya))
    assert "Wed 11 Mar at 01:42" in text
    assert "Done Wednesday 11 March 2026" in text


def test_on_the_bench_is_half_a_ply(can: Job, priya: Link) -> None:
    add_photos(builders.stage(can), 2, "The spout took three goes.")
    page = look(priya)
    assert re.findall(r'class="ply ?([a-z]*)', page) == ["come", "come", "half"]
    assert "On the bench now The spout took three goes." in words_of(page)


def test_what_is_for_us_only_says_the_studios_own_sentence(can: Job, priya: Link) -> None:
    builders.log_done(builders.stage(can), sentence="The client's sketch was wrong.", for_client=False)
    builders.work()
    page = look(priya)
    assert "sketch was wrong" not in page
    assert StageKind.objects.get(name="carving").sentence in words_of(page)
    assert "<img" not in page


def test_a_sentence_stands_once(can: Job, priya: Link) -> None:
    """At the stage; beside a photo only where it says something else."""
    add_photos(builders.stage(can), 3, "First cuts.")
    builders.log_done(builders.stage(can), sentence="Rasped smooth.", now=NOW + timedelta(hours=1), photo=False)
    builders.log_done(builders.stage(can, "mould"), sentence="Open.", now=NOW + timedelta(hours=2))
    builders.work(NOW + timedelta(hours=2))
    text = words_of(look(priya))
    assert text.count("First cuts.") == 1
    assert text.count("Rasped smooth.") == 1


def test_several_pieces_stand_apart_and_are_listed(can: Job, priya: Link) -> None:
    stand = actions.add_piece(can, name="Stand", by=builders.lead(), now=NOW)
    actions.add_stage(stand, kind=StageKind.objects.get(name="carpentry"), by=builders.lead(), now=NOW)
    builders.log_done(builders.stage(can))
    builders.work()
    page = look(priya)
    in_order(
        words_of(page),
        "Carving, Talking watering can",
        "Talking watering can 1 of 3 stages done",
        "Stand 0 of 1 stages done",
        "Lay-up To come",
        "Carpentry To come",
    )
    targets = re.findall(r'href="#([^"]+)"', page)
    assert len(targets) == 3
    assert all(f'id="{target}"' in page for target in targets)


def test_a_closed_job_stays_as_its_record(can: Job, priya: Link) -> None:
    Job.objects.filter(pk=can.pk).update(closed_on=date(2026, 3, 9))
    text = words_of(look(priya))
    assert "This job was finished on Monday 9 March 2026. The page stays as its record." in text
    assert "Nothing is confirmed yet" not in text


def test_it_says_how_long_it_stays(can: Job, priya: Link) -> None:
    Link.objects.filter(pk=priya.pk).update(expires_on=date(2027, 6, 1))
    assert "It stays until Tuesday 1 June 2027." in words_of(look(priya))


def test_a_link_ends_with_the_shops_day(can: Job, priya: Link) -> None:
    Link.objects.filter(pk=priya.pk).update(expires_on=date(2026, 3, 10))
    with time_machine.travel(NOW.replace(hour=23, minute=59), tick=False):
        assert Client().get(path_for(priya)).status_code == 200
        Studio.objects.update(time_zone="Pacific/Auckland")  # there it is the 11th already
        assert Client().get(path_for(priya)).status_code == 404


def test_names_are_text_and_not_markup(can: Job, priya: Link) -> None:
    Job.objects.filter(pk=can.pk).update(name='<img src=x onerror="x()">')
    builders.confirm(can, words="<b>bold</b> & <script>x()</script>", by=builders.lead(), now=NOW)
    page = look(priya)
    assert "<script" not in page
    assert "<img src=x" not in page
    assert "&lt;b&gt;bold&lt;/b&gt; &amp; " in page


def test_every_photo_has_its_words_its_size_and_three_widths(can: Job, priya: Link) -> None:
    photo = builders.jpeg("peru", (3000, 2000))
    builders.log_done(builders.stage(can), content=photo)
    builders.log_done(builders.stage(can, "mould"), content=builders.jpeg("tan", (2000, 3000)), now=NOW + WEEK)
    builders.work(NOW + WEEK)
    first, second = re.findall(r"<img[^>]*>", look(priya, NOW + WEEK))
    assert 'alt="Talking watering can, mould"' in first
    assert 'alt="Talking watering can, carving"' in second
    assert 'width="640" height="960"' in first
    assert 'width="960" height="640"' in second
    assert re.findall(r"\.jpg (\d+)w", second) == ["480", "960", "2048"]
    assert 'loading="lazy"' not in first
    assert 'loading="lazy"' in second
    assert all('decoding="async"' in each and " sizes=" in each for each in (first, second))


def test_a_photo_that_waits_is_not_counted(priya: Link) -> None:
    Job.objects.update(release=Release.LOOKED)
    builders.log_done(builders.stage(priya.job))
    builders.work()
    assert Photo.objects.to_look_at().count() == 1
    assert "<img" not in look(priya)
