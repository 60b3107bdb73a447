"""A record with something in every corner, to be backed up, lost and restored; and how to look at all of it."""

import shutil
from datetime import date, datetime, time, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import time_machine
from django.apps import apps
from django.conf import settings
from django.core.management import call_command

from studio.workshop import errands
from studio.workshop.models import (
    Absence,
    Closure,
    Errand,
    Job,
    Kind,
    Link,
    Overtime,
    Photo,
    PhotoState,
    Release,
    StageKind,
)
from tests import builders
from tests.conftest import NOW

FIRST = NOW - timedelta(days=1, microseconds=-123457)
Rows = dict[str, dict[Any, dict[str, Any]]]


def fill() -> list[Link]:
    """Letters that went and that wait, photos developed, waiting for a look and for the worker; links of three jobs."""
    sent = builders.link(builders.job("Talking watering can"))
    builders.log_done(builders.stage(sent.job), now=FIRST, content=builders.jpeg("teal", (1800, 1200)))
    builders.work(FIRST)
    builders.work(FIRST + timedelta(minutes=10))
    looked = builders.link(
        builders.job("Leaning lamp post", release=Release.LOOKED), "Ruşen “Ru” Åkesson", "ru@client.example"
    )
    builders.log_done(
        builders.stage(looked.job), content=builders.jpeg("navy"), sentence="Two lines,\nand a tab\t\u2028 in it"
    )
    builders.log_done(builders.stage(sent.job, "mould"), content=builders.jpeg("olive", (900, 1200)))
    _odds_and_ends(sent.job)
    builders.work(NOW)
    builders.say_stuck(builders.stage(looked.job, "lay-up"), photo=True)
    late = builders.link(builders.job("Snail"))
    builders.log_done(builders.stage(late.job), content=builders.jpeg("plum"))
    running = Errand.objects.filter(kind=Kind.DEVELOP_PHOTO).get(subject=str(Photo.objects.latest("pk").pk))
    assert errands.claim(running.pk, NOW)
    assert set(Photo.objects.values_list("state", flat=True)) >= {PhotoState.DEVELOPED, PhotoState.WAITING}
    return [sent, looked, late]


def _odds_and_ends(job: Job) -> None:
    """Fields that are stored in ways of their own: days, hours of a day, JSON, many to many, and nothing at all."""
    ada, stage = builders.person("Ada"), builders.stage(job, "lay-up")
    ada.skills.set(StageKind.objects.all()[:3])
    ada.hours = [[["07:30", "12:00"]]] * 4 + [[]] * 3
    ada.save()
    stage.follows.add(builders.stage(job, "mould"))
    Absence.objects.create(person=ada, first_day=date(2026, 3, 30), last_day=date(2026, 4, 2))
    Overtime.objects.create(person=ada, day=date(2026, 3, 14), starts=time(8, 15), ends=time(12))
    Closure.objects.create(first_day=date(2026, 8, 3), last_day=date(2026, 8, 14), name="August")
    builders.confirm(job, words="The spout is next.")


def rows() -> Rows:
    """Every row of the workshop's tables, by table and key; read without the code that backs up."""
    models = apps.get_app_config("workshop").get_models(include_auto_created=True)
    return {
        model._meta.db_table: {row[model._meta.pk.attname]: row for row in model._base_manager.values()}
        for model in models
    }


def files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def lose() -> None:
    """Nothing is left but empty tables and folders."""
    call_command("flush", interactive=False, verbosity=0)
    for folder in (settings.MEDIA_ROOT, settings.OUTBOX):
        shutil.rmtree(folder)
        Path(folder).mkdir()


def back_up(place: Path) -> str:
    """What the command said."""
    said = StringIO()
    with time_machine.travel(NOW, tick=False):
        call_command("backup", str(place), stdout=said)
    return said.getvalue()


def restore(place: Path) -> str:
    said = StringIO()
    call_command("restore", str(place), stdout=said)
    return said.getvalue()


def run_everything(at: datetime) -> None:
    """What the studio does by itself: the sweep, and every errand that waits, whenever it is due."""
    errands.ask_daily(Kind.TIDY_FILES, at)
    errands.sweep(at)
    builders.work(at)
