"""A commission: the job, its pieces, and the stages each piece goes through."""

import functools

from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.expressions import RawSQL

from studio.workshop.models.people import Client, Person
from studio.workshop.models.prepared import Question, put_together
from studio.workshop.models.studio import Place


class Release(models.TextChoices):
    LOOKED = "looked", "When the lead has looked"
    STRAIGHT = "straight", "Straight"


class Wanted(models.TextChoices):
    """What is meant by the day that the client named."""

    THERE = "there", "It must be there"
    OPENS = "opens", "It opens, or is shown"
    FETCHED = "fetched", "It is fetched"


class JobQuerySet(models.QuerySet["Job"]):
    def live(self) -> "JobQuerySet":
        return self.filter(closed_on=None)


class Job(models.Model):
    client = models.ForeignKey(Client, models.PROTECT, related_name="jobs")
    name = models.CharField(max_length=80)
    release = models.CharField(max_length=8, choices=Release.choices, default=Release.LOOKED)
    wanted_day = models.DateField(null=True, blank=True)
    wanted_means = models.CharField(max_length=8, choices=Wanted.choices, default=Wanted.THERE)
    fixed = models.BooleanField(default=False)  # an opening, a get-in: the day cannot move
    form = models.UUIDField(null=True, blank=True, unique=True)  # the form it was set out with, so that it is made once
    van_day = models.DateField(null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ("van_day", "name", "id")

    def __str__(self) -> str:
        return self.name


class Confirmation(models.Model):
    """What the lead last told the client about the job, in the lead's own words. Never changed, only followed."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="confirmations")
    words = models.CharField(max_length=400)
    van_day = models.DateField(null=True, blank=True)  # as it stood then: a later one is told when the lead says so
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("-at", "-id")

    def __str__(self) -> str:
        return self.words


class Piece(models.Model):
    """One thing that is made, moved and put up on its own."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="pieces")
    name = models.CharField(max_length=60)
    note = models.CharField(max_length=140, blank=True)
    longest_mm = models.PositiveIntegerField(null=True, blank=True)
    stands_alone = models.BooleanField(default=False)  # does not wait for the job's other pieces at fit-up
    form = models.UUIDField(null=True, blank=True, unique=True)
    position = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("position", "id")

    def __str__(self) -> str:
        return self.name


class StageKind(models.Model):
    """A kind of shop work, with the studio's own sentence that tells a client what it is and why it looks rough now.

    Hours, crew, place and cure are first guesses, written into each new stage, where they can be changed.
    """

    name = models.CharField(max_length=40, unique=True)
    key = models.CharField(max_length=20, blank=True)  # what the methods of work call it, whatever its name is now
    work_min = models.PositiveIntegerField(default=0)  # for a piece of one metre
    crew = models.PositiveSmallIntegerField(default=1)
    place = models.ForeignKey(Place, models.SET_NULL, null=True, blank=True, related_name="+")
    cure_min = models.PositiveIntegerField(default=0)
    cure_holds = models.BooleanField(default=False)  # its place stays taken while it cures
    meets = models.BooleanField(default=False)  # the pieces of a job meet here
    sentence = models.CharField(max_length=300, blank=True)
    position = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("position", "name")

    def __str__(self) -> str:
        return self.name


class StageQuerySet(models.QuerySet["Stage"]):
    def told(self) -> "StageQuerySet":
        """With all that a line about a stage names."""
        return self.select_related("kind", "piece__job", "maker")

    def first_left(self) -> "StageQuerySet":
        """The first stage of each piece that is not done, in jobs that are still going."""
        return self.filter(done_at=None, piece__job__closed_on=None).exclude(Exists(_earlier(done_at=None)))

    def next_up(self) -> "StageQuerySet":
        """What can be gone on with. It is put together once, since that takes longer than to answer it."""
        return self.filter(pk__in=RawSQL(*_can_go_on()))  # noqa: S611 - our own words, with nothing of anybody's in them


@functools.cache
def _can_go_on() -> Question:
    """The keys of the stages that are not done, in jobs that are still going, of which all is done that they wait for: SQL
    and what fills it in. That is ``planning.following`` as one question to the database."""
    chosen = Stage.follows.through.objects.filter(from_stage=OuterRef("pk"))
    of_its_own = Exists(chosen.filter(to_stage__piece=OuterRef("piece")))
    first = ~Exists(_earlier(done_at=None))
    made_before_it_meets = ~Exists(_earlier(kind__meets=True)) & (
        Exists(Stage.objects.filter(piece=OuterRef("piece"), kind__meets=True))
        | Q(kind__position__lt=OuterRef("kind__position"))
    )
    others = Stage.objects.filter(
        made_before_it_meets,
        done_at=None,
        kind__meets=False,
        piece__job=OuterRef("piece__job"),
        piece__stands_alone=False,
    ).exclude(piece=OuterRef("piece"))
    meets = Q(kind__meets=True, piece__stands_alone=False)
    usual = first & (~meets | ~Exists(others))
    waits = Exists(chosen.filter(to_stage__done_at=None))
    left = Stage.objects.filter(
        Exists(chosen) & ~waits & (of_its_own | first) | ~Exists(chosen) & usual,
        done_at=None,
        piece__job__closed_on=None,
    )
    return put_together(left.order_by().values("pk"))


def _earlier(**which: object) -> StageQuerySet:
    """Those before a stage in its piece, from the query around this."""
    before = Q(position__lt=OuterRef("position")) | Q(position=OuterRef("position"), id__lt=OuterRef("id"))
    return Stage.objects.filter(before, piece=OuterRef("piece"), **which)


class Stage(models.Model):
    piece = models.ForeignKey(Piece, models.CASCADE, related_name="stages")
    kind = models.ForeignKey(StageKind, models.PROTECT, related_name="+")
    title = models.CharField(max_length=60, blank=True)
    position = models.PositiveIntegerField(default=0)
    maker = models.ForeignKey(Person, models.SET_NULL, null=True, blank=True, related_name="+")
    work_min = models.PositiveIntegerField(default=0)  # for each of the crew
    left_min = models.PositiveIntegerField(null=True, blank=True)  # what somebody last said is still to do, and when
    left_said_at = models.DateTimeField(null=True, blank=True)
    crew = models.PositiveSmallIntegerField(default=1)
    place = models.ForeignKey(Place, models.SET_NULL, null=True, blank=True, related_name="stages")
    cure_min = models.PositiveIntegerField(default=0)
    cure_holds = models.BooleanField(default=False)
    due_on = models.DateField(null=True, blank=True)  # a deadline of its own
    follows = models.ManyToManyField(
        "self", symmetrical=False, blank=True, related_name="followed_by"
    )  # none: by default
    form = models.UUIDField(null=True, blank=True, unique=True)
    added_at = models.DateTimeField(null=True)  # when it was set out; the plan has nobody at it before
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    version = models.PositiveIntegerField(default=1)

    objects = StageQuerySet.as_manager()

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.CheckConstraint(
                condition=Q(done_at=None, done_by=None) | Q(done_at__isnull=False, done_by__isnull=False),
                name="stage_done_by_somebody",
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind}, {self.title}" if self.title else str(self.kind)
