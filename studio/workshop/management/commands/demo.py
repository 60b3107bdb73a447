"""Fills an empty record with the demo studio, by the same actions and duties that real work goes through."""

import os
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from itertools import islice, product, repeat
from pathlib import Path
from threading import Thread
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.files.uploadedfile import TemporaryUploadedFile
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from fixtures import demo
from fixtures.photos.many import drawn
from studio.craft.explain import Reading, explain_all
from studio.craft.methods import scaled_min
from studio.craft.network import lay_out
from studio.craft.plan import plan
from studio.workshop import actions, duties, photos
from studio.workshop.management.troubles import TROUBLES, in_words
from studio.workshop.models import (
    Entry,
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
from studio.workshop.planning.facts import gather
from studio.workshop.planning.shop import shop_of

FRIDAY, MOST_PLANS = 4, 60


class Command(BaseCommand):
    help = "Loads the invented demo studio into an empty record."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--with-parent", action="store_true", help="ends when whoever started it does")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["with_parent"]:
            Thread(target=_end_with_parent, daemon=True).start()
        if Person.objects.exists():
            raise CommandError("There are people here already, so the demo was not loaded.")
        try:
            with transaction.atomic():  # cut off half way, it is loaded anew next time
                self._load(timezone.now())
        except TROUBLES as error:
            sys.exit(in_words(error))
        self.stdout.write(f"The demo studio {demo.STUDIO} is loaded.")

    def _load(self, now: datetime) -> None:
        actions.set_out_studio()
        Studio.objects.update(name=demo.STUDIO, demo=True)
        began = _hour(now, 28, 9)
        for name, role, kinds in demo.PEOPLE:
            email = f"{name.lower()}@bodkinyard.example"
            person = actions.add_person(name=name, email=email, role=Role(role), password=None, by=None, now=began)
            person.skills.set(StageKind.objects.filter(key__in=kinds))
        _close_the_shop(now)
        shots = drawn(_wanted())
        loaded = [(told, _load(told, shots, began, now)) for told in demo.JOBS]
        _send_away(now)
        _time_the_vans({job.pk: told.hand for told, job in loaded}, now)
        ines = Person.objects.get(name="Ines")
        for told, job in loaded:
            actions.confirm_words(job, words=told.words, after=None, by=ines, now=_hour(now, 0, 10))
        for errand in Errand.objects.filter(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING):
            duties.run(errand.pk, lambda: now)


def _end_with_parent() -> None:
    os.read(sys.stdin.fileno(), 1)  # waits until the other end is closed
    os._exit(1)


def _send_away(now: datetime) -> None:
    today, ines = _today(now), Person.objects.get(name="Ines")
    for name, first, last in demo.AWAY:
        days = {"first_day": today + timedelta(first), "last_day": today + timedelta(last)}
        actions.add_absence(Person.objects.get(name=name), **days, by=ines, now=now)


def _close_the_shop(now: datetime) -> None:
    ines, year = Person.objects.get(name="Ines"), _today(now).year
    for when, (month, day, name) in product((year, year + 1), demo.CLOSED):
        shut = date(when, month, day)
        actions.add_closure(first_day=shut, last_day=shut, name=name, by=ines, now=now)


def _today(now: datetime) -> date:
    return now.astimezone(ZoneInfo(settings.TIME_ZONE)).date()


def _time_the_vans(hands: dict[int, int], now: datetime) -> None:
    """Gives each job the van that leaves it so many worked days in hand, whatever day of the week today is.

    Whose van is first decides whose work is first, and so when all are ready; so it is planned anew after each that moves,
    the first van first, until each stands as was told.
    """
    for _ in range(MOST_PLANS):
        shop = shop_of(gather(now), now)
        readings = explain_all(shop, plan(lay_out(shop)))
        wrong = [one for one in readings.values() if not _stands(one, hands[int(one.job)])]
        if not wrong:
            return
        first = min(wrong, key=lambda one: (one.van or date.max, one.job))
        van = _worked(first.ready_day or _today(now), hands[int(first.job)])
        Job.objects.filter(pk=first.job).update(van_day=van, wanted_day=van)


def _stands(one: Reading, hand: int) -> bool:
    """Over by no more than a week, tight, or well in hand, as was told."""
    least, most = (-5, -1) if hand < 0 else (0, 2) if hand <= 2 else (5, 30)
    return one.hand is not None and least <= one.hand <= most and one.over == (hand < 0)


def _wanted() -> Iterator[tuple[str, str]]:
    """The photographs of all jobs, in the order in which they are loaded."""
    for piece in (piece for job in demo.JOBS for piece in job.pieces):
        for logged in (stage.logged for stage in piece.stages if stage.logged and stage.logged.drawn):
            yield from repeat((piece.subject, logged.drawn), logged.photos)


def _load(told: demo.Job, shots: Iterator[bytes], began: datetime, now: datetime) -> Job:
    ines = Person.objects.get(name="Ines")
    client = actions.add_client(name=told.client, by=ines, now=began)
    van = _worked(_today(now), 5 * (1 + demo.JOBS.index(told)))  # to begin with
    job = actions.add_job(
        client=client,
        name=told.name,
        release=Release(told.release),
        wanted_day=van,
        fixed=told.fixed,
        van_day=van,
        by=ines,
        now=began,
    )
    address = f"{told.contact.split()[-1].lower()}@{told.client.split()[0].lower()}.example"
    contact = actions.add_contact(client, name=told.contact, email=address, by=ines, now=began)
    actions.give_link(contact, job, by=ines, now=began)
    for piece in told.pieces:
        _load_piece(job, piece, shots, ines, began, now)
    return job


def _load_piece(
    job: Job, told: demo.Piece, shots: Iterator[bytes], ines: Person, began: datetime, now: datetime
) -> None:
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
    for line in told.stages:
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
            says=Says.DONE if line.logged.done else Says.PHOTO,
            photos=[_photo(shot) for shot in islice(shots, line.logged.photos if line.logged.drawn else 0)],
            sentence=line.logged.sentence,
            by=Person.objects.get(name=line.logged.by),
            now=at,
        )
        _run_errands(at)
        if job.release == Release.LOOKED and line.logged.looked:
            _look(entry, ines, at + timedelta(hours=1))


def _look(entry: Entry, by: Person, at: datetime) -> None:
    looked = Photo.objects.filter(entry=entry).select_related("entry__stage__piece__job", "stage__piece__job")
    if looked:
        actions.release_photos(list(looked), by=by, now=at)
    else:
        actions.send_word(entry, by=by, now=at)
    _run_errands(at)


def _say_stuck(stage: Stage, words: str, now: datetime) -> None:
    by, at = stage.maker or Person.objects.get(name="Bo"), _hour(now, 0, 8)
    actions.say_stuck(entry_id=uuid4(), stage=stage, needs=Needs.ANSWER, sentence=words, by=by, now=at)


def _photo(content: bytes) -> photos.Kept:
    with TemporaryUploadedFile("photo.jpg", "image/jpeg", len(content), None) as file:
        Path(file.temporary_file_path()).write_bytes(content)
        return photos.keep([file]).kept[0]


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
    """That hour in the shop's zone so many worked days ago, and never in the future."""
    at = datetime.combine(_worked(_today(now), -days_ago), time(hour, 12 + days_ago), ZoneInfo(settings.TIME_ZONE))
    return min(at, now - timedelta(minutes=20))


def _worked(day: date, days: int) -> date:
    """So many worked days after that day, or before it below zero; a day on which nobody works counts as the last before."""
    while not _open(day):
        day -= timedelta(1)
    for _ in range(abs(days)):
        day += timedelta(1 if days > 0 else -1)
        while not _open(day):
            day += timedelta(1 if days > 0 else -1)
    return day


def _open(day: date) -> bool:
    return day.weekday() <= FRIDAY and (day.month, day.day) not in {(month, shut) for month, shut, _ in demo.CLOSED}
