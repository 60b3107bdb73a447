"""Fills an empty record with the demo studio, by the same actions and duties that real work goes through."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.files.uploadedfile import TemporaryUploadedFile
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fixtures import demo
from fixtures.photos.draw import drawing
from studio.craft.methods import scaled_min
from studio.workshop import actions, duties, photos
from studio.workshop.models import (
    Errand,
    ErrandState,
    Job,
    Kind,
    Needs,
    Person,
    Photo,
    Release,
    Role,
    Says,
    Stage,
    StageKind,
    Studio,
)


class Command(BaseCommand):
    help = "Loads the invented demo studio into an empty record."

    def handle(self, *args: Any, **options: Any) -> None:
        if Person.objects.exists():
            raise CommandError("There are people here already, so the demo was not loaded.")
        now = timezone.now()
        actions.set_out_studio()
        Studio.objects.update(name=demo.STUDIO, demo=True)
        began = now - timedelta(days=40)
        for name, role, kinds in demo.PEOPLE:
            email = f"{name.lower()}@bodkinyard.example"
            person = actions.add_person(name=name, email=email, role=Role(role), password=None, by=None, now=began)
            person.skills.set(StageKind.objects.filter(key__in=kinds))
        for job in demo.JOBS:
            _load(job, began, now)
        _send_away(now)
        for plan in Errand.objects.filter(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING):
            duties.run(plan.pk, lambda: now)
        self.stdout.write(f"The demo studio {demo.STUDIO} is loaded.")


def _send_away(now: datetime) -> None:
    today, ines = _today(now), Person.objects.get(name="Ines")
    for name, first, last in demo.AWAY:
        days = {"first_day": today + timedelta(first), "last_day": today + timedelta(last)}
        actions.add_absence(Person.objects.get(name=name), **days, by=ines, now=now)


def _today(now: datetime) -> date:
    return now.astimezone(ZoneInfo(settings.TIME_ZONE)).date()


def _load(told: demo.Job, began: datetime, now: datetime) -> None:
    ines = Person.objects.get(name="Ines")
    client = actions.add_client(name=told.client, by=ines, now=began)
    job = actions.add_job(
        client=client,
        name=told.name,
        release=Release(told.release),
        wanted_day=_weekday(_today(now) + timedelta(days=told.van_in_days)),
        fixed=told.fixed,
        van_day=_weekday(_today(now) + timedelta(days=told.van_in_days)),
        by=ines,
        now=began,
    )
    address = f"{told.contact.lower()}@{told.client.split()[0].lower()}.example"
    contact = actions.add_contact(client, name=told.contact, email=address, by=ines, now=began)
    actions.give_link(contact, job, by=ines, now=began)
    for piece in told.pieces:
        _load_piece(job, piece, ines, began, now)
    actions.confirm_words(job, words=told.words, after=None, by=ines, now=_hour(now, 1, 10))


def _load_piece(job: Job, told: demo.Piece, ines: Person, began: datetime, now: datetime) -> None:
    longest_m = Decimal(told.longest_m)
    piece = actions.add_piece(
        job,
        name=told.name,
        note_to_maker=told.note,
        longest_mm=int(longest_m * 1000),
        stands_alone=told.alone,
        by=ines,
        now=began,
    )
    for number, line in enumerate(told.stages):
        maker = Person.objects.get(name=line.maker) if line.maker else None
        kind = StageKind.objects.get(name=line.kind)
        stage = actions.add_stage(
            piece,
            kind=kind,
            title=line.title,
            maker=maker,
            work_min=scaled_min(kind.work_min, longest_m),
            by=ines,
            now=began,
        )
        if line.stuck:
            _say_stuck(stage, line.stuck, now)
        if line.logged is None:
            continue
        at = _hour(now, line.logged.days_ago, line.logged.hour)
        entry = actions.log_at_bench(
            entry_id=uuid4(),
            stage=stage,
            says=Says.DONE,
            photos=_photo(told.subject, line.logged.drawn, seed=piece.pk * 10 + number),
            sentence=line.logged.sentence,
            for_client=line.logged.for_client,
            by=Person.objects.get(name=line.logged.by),
            now=at,
        )
        _run_errands(at)
        if job.release == Release.LOOKED and line.logged.days_ago > 1:
            looked = Photo.objects.filter(entry=entry).select_related("entry__stage__piece__job", "stage__piece__job")
            actions.release_photos(list(looked), by=ines, now=at + timedelta(hours=1))
            _run_errands(at + timedelta(hours=1))


def _say_stuck(stage: Stage, words: str, now: datetime) -> None:
    by, at = stage.maker or Person.objects.get(name="Bo"), _hour(now, 0, 8)
    actions.say_stuck(entry_id=uuid4(), stage=stage, needs=Needs.ANSWER, sentence=words, by=by, now=at)


def _photo(subject: str, drawn: str, seed: int) -> tuple[photos.Kept, ...]:
    if not (subject and drawn):
        return ()
    content = drawing(subject, drawn, seed=seed)
    with TemporaryUploadedFile("photo.jpg", "image/jpeg", len(content), None) as file:
        Path(file.temporary_file_path()).write_bytes(content)
        return photos.keep([file]).kept


def _run_errands(at: datetime) -> None:
    """What the workers would have done by an hour after, at the hour when it was due."""
    for _ in ("photo", "letter"):
        waiting = Errand.objects.filter(state=ErrandState.WAITING).exclude(kind=Kind.REFRESH_PLAN)  # once, at the end
        due = waiting.filter(due_at__lte=at + timedelta(hours=1))
        for errand in due.filter(due_at__lte=timezone.now()):
            duties.run(errand.pk, partial(_when_due, errand))


def _when_due(errand: Errand) -> datetime:
    return errand.due_at


def _hour(now: datetime, days_ago: int, hour: int) -> datetime:
    """That hour in the shop's zone on a weekday, and never in the future."""
    zone = ZoneInfo(settings.TIME_ZONE)
    day = _weekday(now.astimezone(zone).date() - timedelta(days=days_ago), back=True)
    return min(datetime.combine(day, time(hour, 12 + days_ago % 40), zone), now - timedelta(minutes=20))


def _weekday(day: date, *, back: bool = False) -> date:
    while day.weekday() >= 5:
        day += timedelta(days=-1 if back else 1)
    return day
