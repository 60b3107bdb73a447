"""What is next: on one person's bench, and on all of them."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from studio.bench import lists
from studio.workshop import actions
from studio.workshop.models import Entry, Job, Person, Piece, Role, Says, Stage, StageKind
from tests import builders
from tests.bench.conftest import page_of, run_due
from tests.conftest import NOW


def many(job: Job, count: int) -> None:
    """Further pieces with one stage each; made as rows, because there are a lot of them."""
    carving = StageKind.objects.get(name="carving")
    pieces = Piece.objects.bulk_create(Piece(job=job, name=f"Snail {n}", position=n) for n in range(2, count + 2))
    Stage.objects.bulk_create(Stage(piece=piece, kind=carving) for piece in pieces)


def labels(response: Any) -> list[str]:
    """The pieces on a page in their order, the first one included."""
    context = response.context
    first = [context["stage"]] if "stage" in context else []
    return [stage.piece.name for stage in [*first, *(context.get("others") or context.get("stages") or [])]]


def pages(who: Client, address: str) -> list[list[str]]:
    found, here = [], address
    while True:
        response = who.get(here)
        found.append(labels(response))
        if not response.context["more"]:
            return found
        here = f"{address}?{response.context['more']}"


def test_the_first_piece_comes_with_its_button(ada: Client) -> None:
    builders.job("Giant boot")
    sooner = builders.job("Pretzel")
    Job.objects.filter(pk=sooner.pk).update(van_day=date(2026, 3, 12))
    page = ada.get(reverse("bench")).content.decode()
    assert '<h1><span class="first">Next:</span> Pretzel</h1>' in page
    assert f'action="{page_of(builders.stage(sooner))}"' in page
    assert 'capture="environment"' in page
    assert "van Thu 12 Mar" in page
    assert "Giant boot" in page


def test_what_is_given_to_another_is_not_on_this_bench_but_can_be_opened(ada: Client) -> None:
    job = builders.job("Giant boot", maker=builders.person("Bo"))
    bench = ada.get(reverse("bench")).content.decode()
    assert "Nothing on your bench." in bench
    assert "Giant boot, carving, is next. Bo has it." in bench
    assert "Giant boot" in ada.get(reverse("bench-all")).content.decode()
    assert ada.get(page_of(builders.stage(job))).status_code == 200


def test_nothing_anywhere_is_said(ada: Client) -> None:
    assert "Nothing is waiting on any bench." in ada.get(reverse("bench")).content.decode()
    assert "No piece has a stage yet." in ada.get(reverse("bench-all")).content.decode()


def test_all_pieces_begin_with_the_one_touched_last(ada: Client) -> None:
    for name, hours in (("Pretzel", 3), ("Giant boot", 1), ("Ammonite", 2)):
        builders.log_done(builders.stage(builders.job(name)), now=NOW - timedelta(hours=hours))
    builders.job("Lamp post")
    assert labels(ada.get(reverse("bench-all"))) == ["Giant boot", "Ammonite", "Pretzel", "Lamp post"]


APRIL, MAY = date(2026, 4, 1), date(2026, 5, 1)


@pytest.mark.parametrize("vans", [(None, None), (APRIL, MAY), (APRIL, None)])
def test_a_long_bench_shows_each_piece_once_and_the_last_van_last(
    ada: Client, vans: tuple[date | None, date | None]
) -> None:
    jobs = builders.job("Snail 1"), builders.job("Crab-claw arch")
    many(jobs[0], 118)
    for job, van in zip(jobs, vans, strict=True):
        Job.objects.filter(pk=job.pk).update(van_day=van)
    found = pages(ada, reverse("bench"))
    assert [len(page) for page in found] == [50, 50, 20]
    names = [piece for page in found for piece in page]
    assert len(set(names)) == 120
    assert names[-1] == "Crab-claw arch"


@pytest.mark.parametrize("minutes", [0, 1])  # between two touches; at the same moment the piece made last comes first
def test_all_pieces_go_on_from_page_to_page(ada: Client, minutes: int) -> None:
    many(builders.job("Crab-claw arch"), 119)
    pieces = list(Piece.objects.filter(name__startswith="Snail").prefetch_related("stages")[:70])
    by = builders.person("Ada")
    Entry.objects.bulk_create(
        Entry(id=uuid4(), stage=stage, says=Says.PHOTO, by=by, at=NOW - timedelta(minutes=minutes * place))
        for place, piece in enumerate(pieces if minutes else reversed(pieces))
        for stage in piece.stages.all()
    )
    found = pages(ada, reverse("bench-all"))
    assert [len(page) for page in found] == [50, 50, 20]
    names = [piece for page in found for piece in page]
    assert names[:70] == [piece.name for piece in (pieces if minutes else reversed(pieces))]
    assert len(set(names)) == 120


@pytest.mark.parametrize("asked", ["?after=x", "?after=99999999999999999999", "?piece=x", "?before=13&piece=4", "?before=2026-99-99T00:00&piece=4", "?piece=999&before=0001-01-01T00:00:00%2B14:00", "?piece=999&before=9999-12-31T23:59:59-14:00"])  # fmt: skip
def test_an_address_that_was_tampered_with_still_answers(ada: Client, asked: str) -> None:
    builders.job()
    for name in ("bench", "bench-all"):
        assert labels(ada.get(reverse(name) + asked)) == ["Talking watering can"]  # the first page


@pytest.mark.parametrize("name", ["bench", "bench-all"])
def test_fifty_pieces_cost_as_many_queries_as_one(
    ada: Client, name: str, django_assert_num_queries: Callable[[int], AbstractContextManager[object]]
) -> None:
    job = builders.job()
    with CaptureQueriesContext(connection) as for_one:
        assert len(labels(ada.get(reverse(name)))) == 1
    many(job, 49)
    with django_assert_num_queries(len(for_one)):
        assert len(labels(ada.get(reverse(name)))) == 50


def test_a_finished_piece_stays_on_the_list_of_all_until_its_job_is_closed(ada: Client) -> None:
    job = builders.job("Pretzel", stages=("carving", "pack"))
    builders.job("Giant boot")
    for kind in ("carving", "pack"):
        builders.log_done(builders.stage(job, kind))
    response = ada.get(reverse("bench-all"))
    assert labels(response) == ["Pretzel", "Giant boot"]
    assert "<span>pack, done</span>" in response.content.decode()
    assert f'href="{page_of(builders.stage(job, "pack"))}"' in response.content.decode()
    assert "Add a photo" in ada.get(page_of(builders.stage(job, "pack"))).content.decode()
    assert labels(ada.get(reverse("bench"))) == ["Giant boot"]
    Job.objects.filter(pk=job.pk).update(closed_on=NOW.date())
    assert labels(ada.get(reverse("bench-all"))) == ["Giant boot"]


def logged(response: Any) -> list[str]:
    """Each line of "What you logged", its words alone."""
    part = response.content.decode().partition("What you logged")[2].partition("</ul>")[0]
    lines = re.findall(r"<li>(.*?)</li>", part, re.DOTALL)
    return [" ".join(re.sub(r"<[^>]+>", " ", line).split()) for line in lines]


def test_what_somebody_logged_leads_back_to_its_page(ada: Client) -> None:
    job = builders.job(stages=("carving", "mould"))
    carving = builders.log_done(builders.stage(job), now=NOW - timedelta(hours=20))
    mould = builders.log_done(builders.stage(job, "mould"), now=NOW - timedelta(minutes=2))
    response = ada.get(reverse("bench"))
    assert "Nothing on your bench." in response.content.decode()
    assert logged(response) == [
        "10:40 mould of Talking watering can, done can still be taken back",
        "yesterday 14:42 carving of Talking watering can, done",
    ]
    for entry in (carving, mould):
        assert f'href="{reverse("bench-kept", args=[entry.pk])}"' in response.content.decode()
    builders.job("Pretzel")
    assert len(logged(ada.get(reverse("bench")))) == 2  # also where there is something to do


def test_what_is_old_taken_back_or_another_s_is_not_what_you_logged(ada: Client) -> None:
    builders.log_done(builders.stage(builders.job("Pretzel")), now=NOW - timedelta(hours=24, seconds=1))
    builders.log_done(builders.stage(builders.job("Giant boot")), by=builders.person("Bo"))
    back = builders.log_done(builders.stage(builders.job("Ammonite")))
    actions.take_back(back, by=builders.person("Ada"), now=NOW)
    photo = actions.log_at_bench(
        entry_id=uuid4(), stage=builders.stage(builders.job("Lamp post")), says=Says.PHOTO, photos=builders.kept(),
        by=builders.person("Ada"), now=NOW - timedelta(hours=24),
    )  # fmt: skip
    response = ada.get(reverse("bench"))
    assert logged(response) == ["yesterday 10:42 carving of Lamp post, photo only can still be taken back"]
    assert str(photo.pk) in response.content.decode()


@pytest.mark.parametrize("role", [Role.MAKER, Role.LEAD])
def test_each_line_says_what_the_action_says(db: None, published: list[str], role: Role) -> None:
    """Two pieces: one whose next stage has begun and one where that was taken back."""
    kit = builders.person("Kit", role)
    for name in ("Pretzel", "Giant boot"):
        for kind in ("carving", "mould"):
            builders.log_done(builders.stage(Job.objects.filter(name=name).first() or builders.job(name), kind), by=kit)
    actions.take_back(
        Entry.objects.get(stage__piece__name="Pretzel", says=Says.DONE, stage__kind__name="mould"), by=kit, now=NOW
    )
    found = lists.logged_by(kit, NOW)
    assert len(found) == 3
    assert {line.can_take_back for line in found} == ({True} if role == Role.LEAD else {True, False})
    for line in found:
        assert line.can_take_back == actions.can_take_back(line.entry, kit, NOW), line.entry


def test_a_photo_that_did_not_come_out_is_marked_until_another_did(ada: Client) -> None:
    stage = builders.stage(builders.job())
    builders.log_done(stage, content=builders.jpeg()[:200], now=NOW - timedelta(minutes=9))
    run_due(NOW)
    mark = "the photo did not come out"
    assert mark in ada.get(reverse("bench")).content.decode()
    actions.log_at_bench(
        entry_id=uuid4(), stage=stage, says=Says.PHOTO, photos=builders.kept(), by=builders.person("Ada"), now=NOW
    )
    run_due(NOW)
    assert mark not in ada.get(reverse("bench")).content.decode()


def test_ten_logged_lines_cost_as_many_queries_as_one_and_there_are_no_more(
    ada: Client, django_assert_num_queries: Callable[[int], AbstractContextManager[object]]
) -> None:
    job = builders.job()
    builders.log_done(builders.stage(job), photo=False)
    many(job, 11)
    with CaptureQueriesContext(connection) as for_one:
        assert len(logged(ada.get(reverse("bench")))) == 1
    stages = list(Stage.objects.told().filter(piece__name__startswith="Snail").order_by("piece__position"))
    for minutes, stage in enumerate(stages[:9], start=1):
        builders.log_done(stage, photo=False, now=NOW - timedelta(minutes=minutes))
    with django_assert_num_queries(len(for_one)):
        assert len(logged(ada.get(reverse("bench")))) == 10
    builders.log_done(stages[9], photo=False, now=NOW - timedelta(minutes=30))
    lines = logged(ada.get(reverse("bench")))
    assert len(lines) == 10
    assert lines[-1].startswith("10:33 carving of Snail 10, done")


def test_a_stage_that_is_done_says_who_and_when(ada: Client) -> None:
    job = builders.job()
    entry = builders.log_done(builders.stage(job), now=NOW - timedelta(hours=19))
    page = ada.get(page_of(builders.stage(job))).content.decode()
    assert "Done. You logged it yesterday 15:42." in page
    assert reverse("bench-take-back", args=[entry.pk]) in page
    assert "The lead can still take it back." not in page
    assert 'value="done"' not in page
    builders.log_done(builders.stage(job, "mould"), by=builders.person("Bo"), now=NOW - timedelta(days=3))
    page = ada.get(page_of(builders.stage(job, "mould"))).content.decode()
    assert "Done. Bo logged it Saturday 10:42." in page  # 7 March 2026
    assert "Take it back" not in page
    assert "The lead can still take it back." in page


def test_the_note_the_last_photo_and_the_studio_s_sentence_stand_on_the_page(ada: Client) -> None:
    job = builders.job()
    Piece.objects.update(note="Jaw opens 40°.")
    builders.log_done(builders.stage(job), now=NOW - timedelta(days=20))
    run_due(NOW)
    page = ada.get(page_of(builders.stage(job, "mould"))).content.decode()
    assert "Jaw opens 40°." in page
    assert "Last photo, 18 February" in page
    assert 'alt="Talking watering can, carving"' in page
    assert "If you leave it empty, the client reads: “A mould is made around the form." in page


def test_the_script_is_small() -> None:
    script = Path(__file__).resolve().parent.parent.parent / "studio/bench/static/bench/bench.js"
    assert script.stat().st_size < 3000


def test_the_bench_begins_with_what_the_plan_has_first(ada: Client) -> None:
    """The first van has an hour's work to come, the second eight days' work in eight days: the plan begins there."""
    sooner, longer = (
        builders.job("Pretzel", stages=("carving",)),
        builders.job("Giant boot", stages=("carving", "paint")),
    )
    for job, van, hours in ((sooner, date(2026, 3, 18), 1), (longer, date(2026, 3, 20), 32)):
        Job.objects.filter(pk=job.pk).update(van_day=van)
        Stage.objects.filter(piece__job=job).update(work_min=hours * 60)
    assert labels(ada.get(reverse("bench"))) == ["Pretzel", "Giant boot"]  # before the first plan, by van
    builders.work()
    assert labels(ada.get(reverse("bench"))) == ["Giant boot", "Pretzel"]
    stuck = builders.say_stuck(builders.stage(longer))
    assert labels(ada.get(reverse("bench"))) == ["Pretzel", "Giant boot"]  # at once, not with the next plan
    assert "Pretzel" in ada.get(reverse("bench-kept", args=[stuck.pk])).content.decode()


def test_what_waits_for_another_piece_is_on_no_bench(ada: Client) -> None:
    job = builders.job("Ammonite", stages=("fit-up", "paint"))
    made = actions.add_piece(job, name="Bracket", by=builders.lead(), now=NOW)
    actions.add_stage(made, kind=StageKind.objects.get(name="carpentry"), by=builders.lead(), now=NOW)
    assert labels(ada.get(reverse("bench"))) == ["Bracket"]
    assert set(labels(ada.get(reverse("bench-all")))) == {"Ammonite", "Bracket"}
    builders.log_done(builders.stage(job, "carpentry"))
    assert labels(ada.get(reverse("bench"))) == ["Ammonite"]


def carved(name: str, van: date | None, hours: float = 1, **of_stage: Any) -> Stage:
    """The one stage of a job."""
    job = builders.job(name, stages=("carving",))
    Job.objects.filter(pk=job.pk).update(van_day=van)
    Stage.objects.filter(piece__job=job).update(work_min=round(hours * 60), **of_stage)
    return builders.stage(job)


def march(day: int) -> date:
    return date(2026, 3, day)


def link_to_next(response: Any) -> str:
    """What stands under the large button."""
    found = re.search(r'<p class="nxt">(.*?)</(?:a|span)>', response.content.decode(), re.DOTALL)
    assert found
    return re.sub(r"<[^>]+>", "", found[1]).strip()


def test_the_link_to_what_is_next_goes_by_the_plan_on_every_page(ada: Client) -> None:
    """The plan has Bo at what the second van takes, and Ada go on with what the third does."""
    first = carved("Pretzel", march(12))
    carved("Giant boot", march(13), hours=30)
    carved("Ammonite", march(16))
    builders.person("Bo").skills.set(StageKind.objects.filter(name="carving"))
    builders.work()
    bench = ada.get(reverse("bench"))
    assert labels(bench) == ["Pretzel", "Ammonite", "Giant boot"]
    assert link_to_next(bench) == link_to_next(ada.get(page_of(first))) == "Next: Ammonite, carving"
    kept = builders.log_done(first, photo=False)
    assert ada.get(reverse("bench-kept", args=[kept.pk])).context["then"].piece.name == "Ammonite"
    assert labels(ada.get(reverse("bench"))) == ["Ammonite", "Giant boot"]


def test_a_long_bench_shows_once_what_the_plan_has_first_and_second(ada: Client) -> None:
    many(builders.job("Snail 1"), 117)
    Job.objects.update(van_day=APRIL)
    for name in ("Crab-claw arch", "Giant boot"):  # each takes until its van, from the day after tomorrow on
        carved(name, MAY, hours=300)
    builders.work()
    found = pages(ada, reverse("bench"))
    assert found[0][:3] == ["Crab-claw arch", "Giant boot", "Snail 1"]
    assert [len(page) for page in found] == [50, 50, 20]
    assert len({piece for page in found for piece in page}) == 120


def test_what_you_do_not_do_is_not_on_your_bench_unless_it_is_given_to_you(ada: Client) -> None:
    job = builders.job("Pretzel", stages=("pack",))
    first = carved("Giant boot", march(12))
    builders.person("Ada").skills.set(StageKind.objects.filter(name__in=["carving", "paint"]))
    bench = ada.get(reverse("bench"))
    assert (labels(bench), link_to_next(bench)) == (["Giant boot"], "Nothing else on your bench.")
    assert link_to_next(ada.get(page_of(first))) == "Nothing else on your bench."
    assert set(labels(ada.get(reverse("bench-all")))) == {"Giant boot", "Pretzel"}
    Stage.objects.filter(piece__job=job).update(maker=builders.person("Ada"))
    bench = ada.get(reverse("bench"))
    assert (labels(bench), link_to_next(bench)) == (["Giant boot", "Pretzel"], "Next: Pretzel, pack")


@pytest.mark.parametrize("given", [False, True])
def test_where_nothing_is_left_that_you_do_the_bench_says_what_is_next(ada: Client, given: bool) -> None:
    stage = carved("Giant boot", march(12))
    builders.person("Ada").skills.set(StageKind.objects.filter(name="pack"))
    if given:  # to somebody who has left, which is to nobody
        Stage.objects.filter(pk=stage.pk).update(maker=builders.person("Rev"))
        Person.objects.filter(name="Rev").update(is_active=False)
    page = ada.get(reverse("bench")).content.decode()
    assert "Nothing on your bench." in page
    assert "Giant boot, carving, is next.</p>" in page
    assert "has it" not in page


def test_what_is_taken_back_is_first_again_at_once_by_its_van(ada: Client) -> None:
    first, second, third = (carved(name, march(van)) for name, van in (("Pretzel", 12), ("Boot", 13), ("Bone", 16)))
    logged = [builders.log_done(stage, photo=False) for stage in (first, second)]
    builders.work()  # a plan in which neither is left to do
    assert labels(ada.get(reverse("bench"))) == ["Bone"]
    for entry in logged:
        actions.take_back(entry, by=builders.person("Ada"), now=NOW)
    bench = ada.get(reverse("bench"))
    assert (labels(bench), link_to_next(bench)) == (["Pretzel", "Boot", "Bone"], "Next: Boot, carving")
    assert link_to_next(ada.get(page_of(first))) == "Next: Boot, carving"
    assert link_to_next(ada.get(page_of(third))) == "Next: Pretzel, carving"


@pytest.mark.parametrize("van", [None, march(17), march(18)])
def test_what_is_new_is_not_before_what_the_plan_has_first_with_no_later_van(ada: Client, van: date | None) -> None:
    carved("Boot", march(17))
    builders.work()
    carved("Bone", van)
    assert labels(ada.get(reverse("bench"))) == ["Boot", "Bone"]


def test_what_the_plan_gives_to_another_or_has_no_day_for_is_not_before_your_own(ada: Client) -> None:
    carved("Bone", march(12), hours=20)
    carved("Lamp post", march(13), crew=3)
    carved("Boot", march(16))
    builders.person("Bo").skills.set(StageKind.objects.filter(name="carving"))
    builders.work()
    assert labels(ada.get(reverse("bench"))) == ["Boot", "Bone", "Lamp post"]
