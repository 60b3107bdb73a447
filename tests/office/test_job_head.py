"""How a job stands, at the top of its page: in the words of Deadlines, and for a fixed number of questions."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import Job, Needs, Says, Stage, StageKind
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text

pytestmark = pytest.mark.django_db


def job(van: date | None = date(2026, 3, 11)) -> Job:
    builders.person("Ada")
    made = builders.job(stages=("carving",))
    Stage.objects.update(work_min=20 * 60)  # from Tuesday 10:45 on: 5¾ h, then 8½ h, and on Thursday 5¾ h
    Job.objects.update(van_day=van)
    builders.work()
    return Job.objects.get(pk=made.pk)


def test_it_says_the_word_the_days_and_why(office: Browser) -> None:
    said = text(office.get(f"/office/jobs/{job().pk}/"))
    assert "1 day over Likely ready Thu 12 Mar van Wed 11 Mar" in said
    assert "There is more work than days, most of it in its carving : all of its 1 day." in said


def test_it_says_what_is_wrong(office: Browser) -> None:
    made = job()
    builders.person("Ada").skills.set(StageKind.objects.filter(name="paint"))
    builders.log_done(builders.stage(builders.job("Other", client="Other")), photo=False)  # something for a new plan
    builders.work()
    said = text(office.get(f"/office/jobs/{made.pk}/"))
    assert "no day yet" in said
    assert "Nobody can do its carving . Say who does it." in said


def test_without_a_plan_or_closed_nothing_is_said_of_it(office: Browser) -> None:
    made = builders.job()
    assert 'class="stands' not in office.get(f"/office/jobs/{made.pk}/").content.decode()
    builders.work()
    Job.objects.update(closed_on=date(2026, 3, 9))
    assert 'class="stands' not in office.get(f"/office/jobs/{made.pk}/").content.decode()


def test_it_asks_as_much_for_fifty_stages_as_for_one(office: Browser) -> None:
    made = job()

    def questions() -> int:
        office.get(f"/office/jobs/{made.pk}/")
        with CaptureQueriesContext(connection) as asked:
            office.get(f"/office/jobs/{made.pk}/")
        return len(asked)

    few = questions()
    for _ in range(50):
        actions.add_stage(builders.piece(made), kind=StageKind.objects.get(name="paint"), by=builders.lead(), now=NOW)
    builders.work()
    assert questions() <= few  # fewer where what happened last was of fewer kinds


def test_a_photo_of_what_is_stuck_is_not_offered_to_the_client(office: Browser) -> None:
    made = builders.job()
    stage = builders.stage(made)
    actions.say_stuck(
        entry_id=uuid4(), stage=stage, needs=Needs.BROKE, photos=builders.kept(), by=builders.person("Ada"), now=NOW
    )
    builders.work()
    html = office.get(f"/office/jobs/{made.pk}/").content.decode()
    assert "For us only." in html
    assert "Show the client" not in html
    assert stage.entries.get().says == Says.STUCK


def test_a_new_job_has_its_answer_as_soon_as_the_plan_is_drawn(office: Browser) -> None:
    job()
    made = builders.job("Arch", client="Saltmarsh Aquarium", stages=("carving",))
    Job.objects.filter(pk=made.pk).update(van_day=date(2026, 3, 20))
    here = f"/office/jobs/{made.pk}/"
    html = office.get(here).content.decode()
    assert "The plan is being drawn anew." in html
    asks = f"{here}?since={int(NOW.timestamp())}"
    assert f'<a href="{here}" hx-get="{asks}" hx-trigger="every 3s"' in html
    assert office.get(asks, headers={"HX-Request": "true"}).status_code == 204
    builders.work()
    fresh = office.get(asks, headers={"HX-Request": "true"})
    assert fresh.content.decode().startswith('<div id="stands"')
    assert "days in hand" in text(fresh)
    assert "being drawn" not in text(fresh)
    # What the plan says of the stages comes along.
    assert "not in the plan yet" in html
    assert '<div id="pieces" hx-swap-oob="true">' in fresh.content.decode()
    assert "not in the plan yet" not in text(fresh)
    assert "hx-swap-oob" not in office.get(here).content.decode()
    Job.objects.update(closed_on=date(2026, 3, 10))
    builders.job("Boot", client="Hillfoot School")
    assert "being drawn" not in text(office.get(here))


def test_it_says_which_van_the_client_reads(office: Browser) -> None:
    made = job(van=date(2026, 3, 11))
    page = f"/office/jobs/{made.pk}/"
    builders.confirm(made, words="It is on time.")
    assert "Confirmed by Ines, 10:42. Their page shows the van on Wed 11 Mar." in text(office.get(page))
    Job.objects.update(van_day=date(2026, 3, 18))
    said = text(office.get(page))
    assert "Their page still shows the van on Wed 11 Mar. Confirm the words again to show Wed 18 Mar." in said
    Job.objects.update(van_day=None)
    assert "Confirm the words again to take it away." in text(office.get(page))
    builders.confirm(made, words="We say more soon.")
    assert "Their page" not in text(office.get(page))
    Job.objects.update(van_day=date(2026, 3, 18))
    assert "Their page shows no van. Confirm the words again to show Wed 18 Mar." in text(office.get(page))


def test_a_job_that_was_closed_too_early_says_what_was_not_done(office: Browser) -> None:
    made = builders.job(stages=("carving", "prime", "pack"))
    builders.log_done(builders.stage(made), photo=False)
    Job.objects.update(closed_on=date(2026, 3, 9))
    said = text(office.get(f"/office/jobs/{made.pk}/"))
    assert "Closed on Mon 9 Mar, with two of three stages not done." in said
    assert "not done prime not done pack" in said
    assert "to come" not in said
    Job.objects.update(closed_on=None, van_day=date(2026, 3, 9))
    assert "The van left on Mon 9 Mar." in text(office.get(f"/office/jobs/{made.pk}/"))
