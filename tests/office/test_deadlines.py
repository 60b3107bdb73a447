"""Deadlines as the lead opens it: the answer, today, each job's line; whatever is wrong, it draws."""

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from html import unescape
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from studio.workshop import actions, planning
from studio.workshop.links import path_for
from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    Job,
    Kind,
    Needs,
    Overtime,
    Person,
    Photo,
    Piece,
    Place,
    Plan,
    Role,
    Says,
    Stage,
    StageKind,
    Studio,
)
from tests import builders
from tests.conftest import NOW
from tests.office.rows import Answer, look, text
from tests.office.shopful import fill
from tests.office.test_days import fields

TODAY = NOW.date()  # Tuesday 10 March 2026
HTMX = {"HX-Request": "true"}


def page(office: Browser) -> str:
    return text(office.get("/office/"))


def answer(response: Answer) -> str:
    found = re.search(r"<h1>(.*?)</h1>", response.content.decode())
    assert found
    return re.sub(r"<[^>]+>", "", found[1])


def lines(response: Answer) -> dict[str, str]:
    """The lines of the page by the name of their job or stage, in order."""
    html = response.content.decode().partition('<ol class="lies">')[2]
    told = re.findall(r'<li id="[\w-]+".*?</li>', html, re.DOTALL)
    names = [re.search(r"<h3><a [^>]+>(.*?)</a>", one) for one in told]
    plain = [" ".join(re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", " ", one)).split()) for one in told]
    return {name[1]: words for name, words in zip(names, plain, strict=True) if name}


def page_of(office: Browser, job: Job) -> str:
    return text(office.get(f"/office/jobs/{job.pk}/"))


def change(job: Job, **other: object) -> Job:
    row = Job.objects.get(pk=job.pk)
    names = ("name", "release", "wanted_day", "wanted_means", "fixed", "van_day", "closed_on", "version")
    values = {name: getattr(row, name) for name in names}
    return actions.change_job(row, **values | other, by=builders.lead(), now=NOW)


def change_stage(stage: Stage, **other: object) -> Stage:
    row = Stage.objects.get(pk=stage.pk)
    names = (
        "kind",
        "title",
        "maker",
        "work_min",
        "left_min",
        "crew",
        "place",
        "cure_min",
        "cure_holds",
        "due_on",
        "version",
    )
    values = {name: getattr(row, name) for name in names} | {"follows": row.follows.all()}
    return actions.change_stage(row, **values | other, by=builders.lead(), now=NOW)


def job(name: str = "Pretzel", van: date | None = None, **other: object) -> Job:
    """Of one stage: twenty hours of carving, by whoever is free; so into a third day of eight hours and a half."""
    made = builders.job(name, stages=["carving"])
    Stage.objects.filter(piece__job=made).update(work_min=20 * 60)
    return change(made, van_day=van, **other)


@pytest.fixture
def yard(office: Browser, ada: Person) -> Browser:
    """With one maker, Ada."""
    return office


def test_nothing_on_the_bench(office: Browser) -> None:
    builders.work()
    shown = office.get("/office/")
    assert answer(shown) == "Nothing on the bench. Set out a job."
    assert '<a href="/office/jobs/new/">Set out a job</a>' in shown.content.decode()
    assert "<svg" not in shown.content.decode()


def test_a_studio_that_begins_reads_what_to_do_first(office: Browser, ines: Person) -> None:
    shown = office.get("/office/")
    steps = shown.content.decode().partition("What to do first")[2].partition("</ol>")[0]
    places = re.findall(r'href="([^"]+)"', steps)
    wanted = ("people", f"people/{ines.pk}/days", "hours", "closures", "places", "kinds", "mail", "jobs/new")
    assert places == [f"/office/{place}/" for place in wanted]
    assert steps.count("<li>") == 5
    for place in places:
        assert office.get(place).status_code == 200
    assert "Letters lie in the outbox until a mail server is named" in text(shown)
    assert "Nothing presses today." not in text(shown)


def test_with_a_job_and_nobody_for_the_plan_the_first_steps_stay(office: Browser) -> None:
    made = builders.job("Pretzel")
    shown = office.get("/office/").content.decode()
    assert "Add who works here" in shown
    assert "Set out the first job" not in shown
    assert "Pretzel" in shown
    builders.person("Ada")
    assert "Add who works here" not in office.get("/office/").content.decode()
    Person.objects.filter(name="Ada").update(in_plan=False)
    change(made, closed_on=TODAY)
    assert "Add who works here" in office.get("/office/").content.decode()


def test_a_studio_whose_jobs_are_all_over_has_begun_long_ago(yard: Browser) -> None:
    change(job(), closed_on=TODAY)
    builders.work()
    shown = text(yard.get("/office/"))
    assert "Nothing presses today." in shown
    assert "What to do first" not in shown


def test_what_went_wrong_stands_there_before_the_first_job_too(office: Browser, ines: Person) -> None:
    actions.invite(builders.person("Ada"), by=ines, now=NOW)
    Errand.objects.create(
        kind=Kind.INVITE, key="invite:1", subject="1", state=ErrandState.FAILED, asked_at=NOW, due_at=NOW
    )
    shown = text(office.get("/office/"))
    assert "What to do first" in shown
    assert f"Today, {NOW:%a} 10 Mar" in shown


def test_before_the_first_plan_each_job_still_stands_there(yard: Browser) -> None:
    job()
    shown = yard.get("/office/")
    assert answer(shown) == "The plan is being drawn."
    assert lines(shown)["Pretzel"].startswith("Pretzel Wharfside Theatre not in the plan yet")
    assert "Look again" in text(shown)


def test_a_job_is_ready_when_its_work_is_and_has_the_days_to_its_van_in_hand(yard: Browser) -> None:
    """Twenty hours from Tuesday on, in days of eight and a half: done on Thursday. Friday and Monday to Wednesday are left."""
    job(van=date(2026, 3, 18))
    builders.work()
    shown = yard.get("/office/")
    assert answer(shown) == "Pretzel clears its van: 4\N{NO-BREAK SPACE}days in hand."
    assert lines(shown)["Pretzel"] == (
        "Pretzel Wharfside Theatre 4 days in hand Likely ready Thu 12 Mar van Wed 18 Mar"
    )
    assert "Planned today at 10:42." in text(shown)
    assert 'class="plank"' in shown.content.decode()


def test_tight_is_up_to_two_days_or_three_where_the_day_cannot_move(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 17))
    builders.work()
    assert "3 days in hand" in lines(yard.get("/office/"))["Pretzel"]
    change(pretzel, fixed=True)
    assert (
        "tight, 3 days in hand Likely ready Thu 12 Mar van Tue 17 Mar (fixed)" in lines(yard.get("/office/"))["Pretzel"]
    )
    change(pretzel, van_day=date(2026, 3, 16))
    builders.work()
    assert "tight, 2 days in hand" in lines(yard.get("/office/"))["Pretzel"]


def test_a_job_that_is_over_says_by_how_much_and_why(yard: Browser) -> None:
    """Ada carves both, the one whose van leaves first to begin with; the second waits for her."""
    job("Pretzel", van=date(2026, 3, 12))
    boot = job("Boot", van=date(2026, 3, 13))
    builders.work()
    shown = yard.get("/office/")
    assert answer(shown) == "Boot is 1\N{NO-BREAK SPACE}day over its van. One more is tight."
    assert list(lines(shown)) == ["Boot", "Pretzel"]
    assert lines(shown)["Boot"] == (
        "Boot Wharfside Theatre 1 day over Likely ready Mon 16 Mar van Fri 13 Mar "
        "Ada is busy with carving of Pretzel until Thu 12 Mar: all of its 1 day. "
        "What helps: two hours more a day from Ada for two weeks (1 day) or another van day: Mon 16 Mar ."
    )
    html = shown.content.decode()
    assert f'href="/office/jobs/{boot.pk}/">Boot</a>' in html
    assert f'href="/office/stages/{builders.stage(Job.objects.get(name="Pretzel")).pk}/">carving of Pretzel</a>' in html
    assert 'class="plank late"' in html
    assert "style=" not in html


def test_a_van_of_years_ago_is_over_by_more_than_a_year_wherever_that_is_said(yard: Browser) -> None:
    """Some 1,600 worked days, of which the plan counts 400 days' worth; Ada is busy for two of them."""
    job("Arch", van=date(2026, 3, 2))
    pretzel = job(van=date(2020, 1, 1))
    change_stage(builders.stage(pretzel), due_on=date(2020, 1, 2))
    builders.work()
    shown = yard.get("/office/")
    assert (
        answer(shown)
        == "Pretzel is more than a year over its van. One more is over. One stage misses a day of its own."
    )
    assert list(lines(shown)) == ["Pretzel", "Carving by Thu 2 Jan 2020", "Arch"]
    html = shown.content.decode()
    for place in (lines(shown)["Pretzel"], lines(shown)["Carving by Thu 2 Jan 2020"], page_of(yard, pretzel)):
        assert "more than a year over Likely ready Thu 12 Mar" in place
        assert "all of its" not in place
        assert "That is its" not in place
        assert not re.search(r"\d{3}½?\xa0day", place)
    assert "More than a year over." in text(yard.get("/office/jobs/"))
    drawing = html.partition(f'id="job-{pretzel.pk}"')[2].partition("</svg>")[0]
    assert 'class="plank late"' in drawing
    assert "<tspan>" not in drawing


def helps_of(office: Browser, job: Job) -> list[str]:
    """Where the words behind "What helps" lead."""
    html = office.get(f"/office/jobs/{job.pk}/").content.decode()
    (sentence,) = re.findall(r"<p>What helps: (.*?)</p>", html)
    return [unescape(address) for address in re.findall(r'href="([^"]+)"', sentence)]


def sent(html: str, action: str) -> dict[str, str]:
    """What one press of the button sends of a form, which is found by where it is sent to."""
    (form,) = re.findall(rf'<form method="post"{action}.*?</form>', html, re.DOTALL)
    ticked = [tag for tag in re.findall(r"<input[^>]*>", form) if not re.search('type="(checkbox|radio)"', tag)]
    ticked += re.findall(r'<input[^>]*type="(?:checkbox|radio)"[^>]*checked[^>]*>', form)
    return {name: value for tag in ticked for name, value in fields(tag).items() if name != "csrfmiddlewaretoken"}


def test_what_helps_is_filled_in_where_it_leads_to_and_one_press_does_it(yard: Browser, ada: Person) -> None:
    pretzel = job(van=date(2026, 3, 11))
    builders.work()
    assert "two hours more a day from Ada for two weeks (1 day) or another van day" in page_of(yard, pretzel)
    longer, another = helps_of(yard, pretzel)
    html = yard.get(longer).content.decode()
    assert not Overtime.objects.exists()  # looking writes nothing
    action = f"/office/people/{ada.pk}/days/longer/"
    days = sent(html, f' action="{action}"')
    assert days == {
        "version": "",
        "first_day": "2026-03-10",
        "last_day": "2026-03-23",
        "starts": "17:00",
        "ends": "19:00",
    }
    away = sent(html, f' action="/office/people/{ada.pk}/days/away/"')
    assert (away["first_day"], away["last_day"]) == ("", "")
    assert yard.post(action, days).status_code == 302
    builders.work()
    assert "tight, no day in hand Likely ready Wed 11 Mar" in page_of(yard, pretzel)

    filled = sent(yard.get(another).content.decode(), ' class="sheet narrow"')
    assert filled["van_day"] == "2026-03-12"
    assert Job.objects.get(pk=pretzel.pk).van_day == date(2026, 3, 11)
    assert yard.post(f"/office/jobs/{pretzel.pk}/change/", filled).status_code == 302
    assert Job.objects.get(pk=pretzel.pk).van_day == date(2026, 3, 12)


def test_room_and_another_day_for_a_stage_are_filled_in_too(yard: Browser) -> None:
    stage = builders.stage(job())
    place = Place.objects.get(name="carving")
    room = f"/office/places/{place.pk}/"
    for address, capacity in ((room, place.capacity), (f"{room}?room=more", place.capacity + 1)):
        assert fields(yard.get(address).content.decode())["capacity"] == str(capacity)
    for asked in ("?room=x", "?room=", "?capacity=7"):
        assert fields(yard.get(room + asked).content.decode())["capacity"] == str(place.capacity)
    due = fields(yard.get(f"/office/stages/{stage.pk}/?due_on=2026-03-16").content.decode())
    assert due["due_on"] == "2026-03-16"
    assert not Stage.objects.exclude(due_on=None).exists()


NONSENSE = ("x", "2026-02-30", "1999-12-31", "2026-03-10\0", "9" * 5000, "²", "<b>", "10:07", "24:00")


@pytest.mark.parametrize("value", NONSENSE)
def test_nonsense_in_the_address_fills_in_nothing(value: str, yard: Browser, ada: Person) -> None:
    pretzel = job(van=date(2026, 3, 11))
    good = {"first_day": "2026-03-10", "last_day": "2026-03-23", "starts": "17:00", "ends": "19:00"}
    for name in good:
        shown = yard.get(f"/office/people/{ada.pk}/days/", good | {name: value})
        assert shown.status_code == 200
        assert "longerform-first_day_error" not in shown.content.decode()
        days = sent(shown.content.decode(), f' action="/office/people/{ada.pk}/days/longer/"')
        assert set(days.values()) == {""}
    assert fields(yard.get(f"/office/jobs/{pretzel.pk}/change/", {"van_day": value}).content.decode())["van_day"] == (
        "2026-03-11"
    )
    stage = builders.stage(pretzel)
    assert fields(yard.get(f"/office/stages/{stage.pk}/", {"due_on": value}).content.decode())["due_on"] == ""


def test_what_must_start_today_is_the_stage_without_a_day_to_spare(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 12))
    job("Boot", van=date(2026, 4, 30))
    builders.work()
    assert "Start carving of Pretzel today, Ada at the carving, or its van on Thu 12 Mar is missed." in page(yard)
    assert (
        f'href="/office/stages/{builders.stage(pretzel).pk}/">Start carving of Pretzel</a>'
        in yard.get("/office/").content.decode()
    )
    assert "Start carving of Boot" not in page(yard)


def test_stuck_comes_first_and_its_job_is_at_best(yard: Browser) -> None:
    builders.lead("Rosa")
    pretzel = job(van=date(2026, 4, 30))
    entry = builders.say_stuck(builders.stage(pretzel), Needs.MATERIAL)
    before = page(yard)
    assert (
        "Today, Tue 10 Mar stuck Pretzel, carving is stuck: material. Ada, 10:42." in before
    )  # at once, before any plan
    builders.work()
    shown = yard.get("/office/")
    assert f'<a href="/office/stuck/{entry.stuck.pk}/">Pretzel, carving</a>' in shown.content.decode()
    assert answer(shown).startswith("Pretzel clears its van: at best ")
    assert "At best ready" in lines(shown)["Pretzel"]
    assert "Its carving is stuck" in lines(shown)["Pretzel"]
    actions.answer_stuck(entry.stuck, answer="Use the grey one.", by=builders.lead(), now=NOW)
    builders.work()
    assert "stuck" not in page(yard)


def test_a_held_job_says_what_holds_it_even_where_that_costs_nothing(yard: Browser) -> None:
    """The second stage is stuck, and would not begin today anyhow."""
    both = change(builders.job("Bone", stages=["carving", "filling"]), van_day=date(2026, 4, 30))
    builders.say_stuck(builders.stage(both, "filling"))
    builders.work()
    assert "Its filling is stuck ." in lines(yard.get("/office/"))["Bone"]


def test_what_failed_waits_and_leaves_stands_under_today(yard: Browser) -> None:
    look()
    Errand.objects.filter(kind=Kind.DEVELOP_PHOTO).update(state=ErrandState.FAILED)
    job("Boot", van=TODAY)
    change(Job.objects.get(name="Talking watering can"), van_day=TODAY + timedelta(days=1))
    said = page(yard)
    assert "failed One thing failed ." in said
    assert "photos One photo waits for your look ." in said
    assert "The van of Boot leaves today." in said
    assert "The van of Talking watering can leaves tomorrow." in said


def test_a_photo_that_did_not_come_out_presses_until_another_does_or_the_piece_has_gone_on(yard: Browser) -> None:
    pretzel = job()
    cut = {"photo": True, "content": builders.jpeg()[:200]}
    builders.log_done(builders.stage(pretzel), **cut, now=NOW - timedelta(days=3))  # type: ignore[arg-type]
    builders.work()
    assert "spoilt A photo did not come out . Ask for another." in page(yard)
    Entry.objects.update(at=NOW - timedelta(days=5))
    Photo.objects.update(at=NOW - timedelta(days=5))
    assert "did not come out" not in page(yard)
    Photo.objects.update(at=NOW - timedelta(days=1))
    assert "did not come out" in page(yard)
    actions.log_at_bench(
        entry_id=uuid4(),
        stage=builders.stage(pretzel),
        says=Says.PHOTO,
        photos=builders.kept(),
        by=builders.lead(),
        now=NOW,
    )
    builders.work()
    assert "did not come out" not in page(yard)


def test_on_a_friday_the_vans_of_monday_are_said(yard: Browser) -> None:
    job("Boot", van=date(2026, 3, 16))
    with time_machine.travel(datetime.fromisoformat("2026-03-13T10:00+00:00"), tick=False):
        yard.force_login(builders.lead())
        assert "The van of Boot leaves on Mon 16 Mar." in page(yard)


def test_a_stage_with_a_day_of_its_own_is_a_line_under_its_job(yard: Browser) -> None:
    pretzel = job(van=date(2026, 4, 30))
    change_stage(builders.stage(pretzel), title="sample of the crust", due_on=date(2026, 3, 11))
    job("Arch", van=date(2026, 5, 29))
    builders.work()
    shown = lines(yard.get("/office/"))
    assert list(shown) == ["Pretzel", "Carving, sample of the crust by Wed 11 Mar", "Arch"]
    assert shown["Carving, sample of the crust by Wed 11 Mar"] == (
        "Carving, sample of the crust by Wed 11 Mar Pretzel 1 day over Likely ready Thu 12 Mar "
        "There is more work than days, most of it in its carving, sample of the crust : all of its 1 day. "
        "What helps: two hours more a day from Ada for two weeks (1 day) or another day for it: Thu 12 Mar ."
    )
    builders.log_done(builders.stage(pretzel), photo=False)
    assert list(lines(yard.get("/office/"))) == ["Pretzel", "Arch"]


def test_a_job_that_is_done_says_so_and_has_no_plank(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 18))
    builders.log_done(builders.stage(pretzel), photo=False)
    builders.work()
    shown = yard.get("/office/")
    assert lines(shown)["Pretzel"] == "Pretzel Wharfside Theatre done All of it is done van Wed 18 Mar"
    assert 'class="plank"' not in shown.content.decode()


# whatever is wrong, the page draws


def nobody_can(of: Job) -> None:
    ada = builders.person("Ada")
    kinds = [stage.kind for stage in builders.job("Other", stages=["filling"]).pieces.get().stages.all()]
    actions.change_work(ada, in_plan=True, skills=kinds, hours=None, version=ada.version, by=builders.lead(), now=NOW)


def no_hours(of: Job) -> None:
    change_stage(builders.stage(of), work_min=0)


def many_hours(of: Job) -> None:
    change_stage(builders.stage(of), work_min=600_000)


def follows_itself(of: Job) -> None:
    stage = builders.stage(of)
    stage.follows.add(stage)  # which the action refuses


def follows_another_job(of: Job) -> None:
    gone = builders.job("Gone", stages=["carving"])
    builders.stage(of).follows.add(builders.stage(gone))
    change(gone, closed_on=TODAY)


def place_takes_nothing(of: Job) -> None:
    Place.objects.filter(name="carving").update(capacity=0)


def everybody_left(of: Job) -> None:
    Person.objects.filter(role=Role.MAKER).update(is_active=False)


def always_shut(of: Job) -> None:
    Studio.objects.update(hours=[[]] * 7)


def closed_for_a_month(of: Job) -> None:
    actions.add_closure(first_day=TODAY, last_day=TODAY + timedelta(days=30), name="Flood", by=builders.lead(), now=NOW)


def van_gone(of: Job) -> None:
    change(of, van_day=TODAY - timedelta(days=7))


def no_van(of: Job) -> None:
    change(of, van_day=None)


def van_after_wanted(of: Job) -> None:
    change(of, wanted_day=date(2026, 3, 19), wanted_means="opens", van_day=date(2026, 3, 20))


def no_pieces(of: Job) -> None:
    Piece.objects.filter(job=of).delete()


def far_van(of: Job) -> None:
    change(of, van_day=date(9998, 12, 31))


def done_in_the_future(of: Job) -> None:
    builders.log_done(builders.stage(of), photo=False, now=NOW + timedelta(days=2))


WRONG: list[tuple[Callable[[Job], None], str]] = [
    (nobody_can, "no day yet Van Fri 20 Mar Nobody can do its carving . Say who does it."),
    (no_hours, "Its carving has no hours, so the plan takes it for no work. Set its hours."),
    (many_hours, "Its carving does not end within two years. Check the hours."),
    (follows_itself, "Carving of Pretzel follows itself. Choose what it follows."),
    (follows_another_job, "Its carving waits for a stage that is not there any more. Choose what comes before."),
    (place_takes_nothing, "Its carving has a place that is gone or takes nothing. Mend the places."),
    (everybody_left, "Nobody can do its carving . Say who does it."),
    (always_shut, "Pretzel Wharfside Theatre no day yet"),
    (closed_for_a_month, "The shop is shut"),
    (van_gone, "van was Tue 3 Mar"),
    (van_gone, "Its van was Tue 3 Mar. Set another day ."),
    (no_van, "no van yet Likely ready Thu 12 Mar Set its van day ."),
    (van_after_wanted, "The van leaves on Fri 20 Mar, later than Thu 19 Mar, when it opens. Change the days ."),
    (no_pieces, "nothing set out yet Van Fri 20 Mar Nothing is set out yet. Add its pieces ."),
    (far_van, "van Thu 31 Dec 9998"),
    (done_in_the_future, "Its carving is logged for an hour still to come. The clock of this machine was set back"),
]


@pytest.mark.parametrize(
    ("spoil", "expected"), WRONG, ids=[f"{one[0].__name__}-{number}" for number, one in enumerate(WRONG)]
)
def test_whatever_is_wrong_is_a_sentence_under_its_job(
    spoil: Callable[[Job], None], expected: str, yard: Browser
) -> None:
    pretzel = job(van=date(2026, 3, 20))
    spoil(pretzel)
    Errand.objects.update(due_at=NOW)
    builders.work()
    assert Errand.objects.filter(kind=Kind.REFRESH_PLAN).exclude(state=ErrandState.DONE).count() == 0
    shown = yard.get("/office/")
    assert shown.status_code == 200
    assert expected in lines(shown)["Pretzel"]


def test_done_out_of_order_says_what_is_not_done(yard: Browser) -> None:
    bone = change(builders.job("Bone", stages=["carving", "filling"]), van_day=date(2026, 4, 30))
    builders.log_done(builders.stage(bone, "filling"), photo=False)
    builders.work()
    assert "Its filling is done, but carving of Bone before it is not." in lines(yard.get("/office/"))["Bone"]


def test_a_plan_of_jobs_that_are_gone_and_jobs_that_it_does_not_know(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 18))
    closed = job("Boot", van=date(2026, 3, 12))
    late = job("Arch", van=date(2026, 3, 13))
    builders.work()
    change(closed, closed_on=TODAY)
    Piece.objects.filter(job=pretzel).delete()
    Person.objects.filter(name="Ada").update(is_active=False)
    job("Lamp", van=date(2026, 3, 12))
    shown = lines(yard.get("/office/"))
    assert next(iter(shown)) == "Arch"
    assert set(shown) == {"Arch", "Lamp", "Pretzel"}
    assert "not in the plan yet Van Thu 12 Mar" in shown["Lamp"]
    assert "over" in shown["Arch"]
    assert late.pk in planning.newest().jobs  # type: ignore[union-attr]
    Stage.objects.all().delete()
    assert yard.get("/office/").status_code == 200


def test_names_are_escaped(yard: Browser) -> None:
    job("<b>Boot</b>", van=date(2026, 3, 12))
    job('Fell & Daughter\'s "lamp"', van=date(2026, 3, 12))
    builders.work()
    html = yard.get("/office/").content.decode()
    assert "<b>Boot" not in html
    assert "&lt;b&gt;Boot&lt;/b&gt;" in html
    assert "Fell & D" not in html


# how old the plan is


def test_while_it_is_drawn_anew_the_page_says_so_and_looks_again(yard: Browser) -> None:
    job(van=date(2026, 3, 18))
    builders.work()
    assert "Look again" not in page(yard)
    change(Job.objects.get(), van_day=date(2026, 3, 19))
    html = yard.get("/office/").content.decode()
    assert "Something has changed since; it is being drawn anew." in html
    since = int(NOW.timestamp())
    assert f'<a href="/office/" hx-get="/office/?since={since}" hx-trigger="every 5s"' in html
    address = f"/office/?since={since}"
    assert yard.get(address, headers=HTMX).status_code == 204
    assert yard.get(address).status_code == 200  # by hand, without htmx
    builders.work()
    fresh = yard.get(address, headers=HTMX)
    assert fresh.status_code == 200
    assert fresh.content.decode().startswith('<div id="deadlines"')
    assert "hx-get" not in fresh.content.decode()
    assert fresh.headers["Vary"].count("HX-Request") == 1


def test_what_was_drawn_for_another_van_is_not_said_beside_the_new_one(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 11))
    job("Arch", van=date(2026, 5, 29))
    builders.work()
    assert "Start carving of Pretzel today" in page(yard)
    for said in ("1 day over Likely ready Thu 12 Mar", "more work than days", "What helps"):
        assert said in page_of(yard, pretzel)
    change(pretzel, van_day=date(2026, 3, 31))
    shown = yard.get("/office/")
    assert answer(shown) == "Pretzel is being planned anew."
    assert lines(shown)["Pretzel"] == "Pretzel Wharfside Theatre being planned anew Van Tue 31 Mar"
    assert "days in hand" in lines(shown)["Arch"]
    assert "Start carving of Pretzel" not in text(shown)
    assert 'class="plank late"' not in shown.content.decode()
    own = page_of(yard, pretzel)
    assert "being planned anew Van Tue 31 Mar The plan is being drawn anew." in own
    jobs = text(yard.get("/office/jobs/"))
    assert "Being planned anew. Van Tue 31 Mar." in jobs
    for said in (own, jobs, text(shown)):
        for old in ("day over", "What helps", "more work than days", "Likely ready Thu 12 Mar"):
            assert old not in said, old
    builders.work()
    assert "Pretzel Wharfside Theatre 13 days in hand Likely ready Thu 12 Mar" in lines(yard.get("/office/"))["Pretzel"]
    change(pretzel, van_day=None)
    assert lines(yard.get("/office/"))["Pretzel"] == "Pretzel Wharfside Theatre no van yet Set its van day ."


def test_what_was_drawn_for_another_day_of_a_stages_own_is_not_said_beside_the_new_one(yard: Browser) -> None:
    pretzel = job(van=date(2026, 4, 30))
    sample = builders.stage(pretzel)
    change_stage(sample, due_on=date(2026, 3, 11))
    builders.work()
    assert answer(yard.get("/office/")).startswith("Carving of Pretzel is 1\N{NO-BREAK SPACE}day over")
    change_stage(sample, due_on=date(2026, 3, 16))
    shown = yard.get("/office/")
    assert answer(shown).startswith("Pretzel clears its van")
    assert lines(shown)["Carving by Mon 16 Mar"] == "Carving by Mon 16 Mar Pretzel being planned anew"
    builders.work()
    assert "tight, 2 days in hand" in lines(yard.get("/office/"))["Carving by Mon 16 Mar"]


def test_after_a_minute_it_no_longer_looks_by_itself(yard: Browser) -> None:
    job()
    since = int(NOW.timestamp())
    with time_machine.travel(NOW + timedelta(seconds=59), tick=False):
        assert yard.get(f"/office/?since={since}", headers=HTMX).status_code == 204
    with time_machine.travel(NOW + timedelta(seconds=60), tick=False):
        given_up = yard.get(f"/office/?since={since}", headers=HTMX)
    assert given_up.status_code == 200
    assert "hx-get" not in given_up.content.decode()
    assert "Look again" in text(given_up)


@pytest.mark.parametrize("since", ["", "x", "-1", "²", "9" * 11, "9" * 40, "1.5", "\x00"])
def test_a_since_that_means_nothing_is_long_ago(since: str, yard: Browser) -> None:
    job()
    assert yard.get("/office/", {"since": since}, headers=HTMX).status_code == 200


def test_a_plan_of_an_earlier_day_says_its_day(yard: Browser) -> None:
    job()
    builders.work()
    with time_machine.travel(NOW + timedelta(days=1), tick=False):
        yard.force_login(builders.lead())
        assert "Planned on Tue 10 Mar 10:42." in page(yard)


def test_a_plan_that_could_not_be_drawn_can_be_tried_again(yard: Browser) -> None:
    job()
    builders.work()
    change(Job.objects.get(), van_day=date(2026, 3, 19))
    planned = Errand.objects.filter(kind=Kind.REFRESH_PLAN)
    planned.filter(state=ErrandState.WAITING).update(state=ErrandState.FAILED, error="The disk said: full.")
    shown = yard.get("/office/")
    assert "The newest changes are not in it: the plan could not be drawn anew." in text(shown)
    assert "thing failed" not in text(shown)
    failed = planned.get(state=ErrandState.FAILED)
    action = reverse("office-try-again", args=[failed.pk])
    assert f'action="{action}"' in shown.content.decode()
    again = yard.post(action, {"back": "/office/"})
    assert again.headers["Location"] == "/office/"
    assert Errand.objects.get(pk=failed.pk).state == ErrandState.WAITING
    assert "It is being tried again." in page(yard)


def test_elsewhere_trying_again_leads_to_what_waits(yard: Browser) -> None:
    job()
    Errand.objects.filter(kind=Kind.REFRESH_PLAN).update(state=ErrandState.FAILED)
    action = reverse("office-try-again", args=[Errand.objects.get(kind=Kind.REFRESH_PLAN).pk])
    assert yard.post(action).headers["Location"] == "/office/waiting/"
    assert yard.post(action, {"back": "https://elsewhere.example/"}).headers["Location"] == "/office/waiting/"


# what it costs, and who sees it


def test_as_many_questions_for_forty_jobs_as_for_eight(office: Browser) -> None:
    counts = []
    for jobs in (8, 40):
        fill(jobs, NOW)
        shown = office.get("/office/")
        assert len(lines(shown)) > jobs
        with CaptureQueriesContext(connection) as asked:
            office.get("/office/")
        counts.append(len(asked))
    print(f"Deadlines asks {counts} times with 8 and 40 jobs")
    assert counts[0] == counts[1]
    assert counts[0] <= 12


def test_a_shopful_has_all_that_the_page_can_say(office: Browser) -> None:
    fill(10, NOW)
    said = page(office)
    for words in (
        "over its van",
        "tight,",
        "days in hand",
        "no van yet",
        "at best",
        "(fixed)",
        "is stuck",
        "has no hours",
    ):
        assert words in said, words


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
def test_a_clients_page_knows_nothing_of_it(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 11))
    link = builders.link(pretzel)
    client = Browser()
    before = client.get(path_for(link)).content
    builders.work()
    assert "1 day over" in page(yard)
    after = client.get(path_for(link))
    assert after.content == before
    for words in ("over", "in hand", "tight", "Likely ready", "plank"):
        assert words not in text(after)


def test_the_bar_marks_one_place_on_each_address(office: Browser) -> None:
    fill(1, NOW)
    row = Job.objects.get()
    stuck = builders.say_stuck(builders.stage(row, "filling")).stuck
    marks = {
        "/office/": "Deadlines",
        "/office/waiting/": "Deadlines",
        "/office/stuck/": "Deadlines",
        f"/office/stuck/{stuck.pk}/": "Deadlines",
        "/office/jobs/": "Jobs",
        f"/office/jobs/{row.pk}/": "Jobs",
        "/office/jobs/new/": "New job",
        "/office/photos/": "Photos",
        "/office/clients/": "Clients",
        "/office/letters/": "Letters",
        "/office/settings/": "Studio",
        "/office/hours/": "Studio",
        "/office/closures/": "Studio",
        "/office/places/": "Studio",
        "/office/people/": "Studio",
        "/office/kinds/": "Studio",
    }
    for address, name in marks.items():
        found = re.findall(r'aria-current="page">([^<]+)</a>', office.get(address).content.decode())
        assert found == [name], address


def test_the_newest_plan_is_one_row(yard: Browser) -> None:
    job()
    builders.work()
    change(Job.objects.get(), van_day=TODAY)
    builders.work()
    assert Plan.objects.count() == 1


def test_a_day_of_a_stages_own_that_is_missed_puts_its_job_first_and_stands_in_the_answer(yard: Browser) -> None:
    job("Arch", van=date(2026, 5, 29))
    pretzel = job("Pretzel", van=date(2026, 6, 30))
    sample = builders.stage(pretzel)
    change_stage(sample, title="sample of the crust", due_on=date(2026, 3, 11))
    builders.work()
    shown = yard.get("/office/")
    assert next(iter(lines(shown))) == "Pretzel"
    assert answer(shown) == "Carving, sample of the crust of Pretzel is 1\N{NO-BREAK SPACE}day over the day of its own."
    assert f'<h1><a href="#stage-{sample.pk}">' in shown.content.decode()
    change(Job.objects.get(name="Arch"), van_day=date(2026, 3, 10))
    builders.work()
    assert answer(yard.get("/office/")).endswith("days over the day of its own. One job is over its van.")
    change(Job.objects.get(name="Arch"), van_day=date(2026, 3, 2))
    builders.work()
    assert re.match(
        r"Arch is \d+\xa0days over its van. One stage misses a day of its own.$", answer(yard.get("/office/"))
    )


def test_what_is_tight_though_nothing_is_in_its_way_says_so(yard: Browser) -> None:
    job("Pretzel", van=date(2026, 3, 13))
    builders.work()
    assert (
        "Nothing is in its way: its own work, and what sets, take until then." in lines(yard.get("/office/"))["Pretzel"]
    )


def test_a_job_that_is_done_after_its_van_gets_no_help(yard: Browser) -> None:
    pretzel = job(van=date(2026, 3, 9))
    builders.log_done(builders.stage(pretzel), photo=False)
    builders.work()
    shown = lines(yard.get("/office/"))["Pretzel"]
    assert "All of it is done" in shown
    assert "more work than days" not in shown
    assert "What helps" not in shown


def test_a_stage_with_a_day_of_its_own_says_that_its_job_is_stuck(yard: Browser) -> None:
    boot = builders.job("Boot", stages=["carving", "filling"])
    change_stage(builders.stage(boot, "filling"), due_on=date(2026, 3, 11))
    stuck = builders.say_stuck(builders.stage(boot, "carving"), Needs.ANSWER)
    builders.work()
    own = lines(yard.get("/office/"))["Filling by Wed 11 Mar"]
    assert "at best" in own
    assert "Its carving is stuck" in own
    page = text(yard.get(f"/office/jobs/{boot.pk}/"))
    assert "Its carving is stuck" in page
    assert "Carving is stuck." in page
    assert "Carving is next" not in page
    assert "carving is stuck" in text(yard.get("/office/jobs/")).lower()
    actions.answer_stuck(stuck.stuck, answer="Grey.", by=builders.lead(), now=NOW)
    builders.work()
    page = text(yard.get(f"/office/jobs/{boot.pk}/"))
    assert "on the bench" not in page  # nobody has begun
    assert "Carving is next." in page


def test_who_does_no_such_work_puts_nothing_on_the_bench(yard: Browser) -> None:
    boot = builders.job("Boot", stages=["carving", "filling"])
    carving, kit = builders.stage(boot), builders.person("Kit")
    kit.skills.set(StageKind.objects.filter(name="pack"))
    for by, state in ((kit, "Next: "), (builders.person("Ada"), "On the bench: ")):
        actions.log_at_bench(
            entry_id=uuid4(),
            stage=carving,
            says=Says.PHOTO,
            photos=builders.kept(),
            by=by,
            now=NOW - timedelta(hours=1),
        )
        builders.work()
        assert state in text(yard.get(f"/office/stages/{carving.pk}/"))
