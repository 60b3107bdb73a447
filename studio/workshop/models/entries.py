"""What was logged at the bench, and the photos that came with it."""

import functools
from uuid import UUID

from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from studio.workshop.models.jobs import Stage, StageKind
from studio.workshop.models.people import Person
from studio.workshop.models.prepared import WHOSE, Question, ask, put_together


class Says(models.TextChoices):
    DONE = "done", "Done"
    PHOTO = "photo", "Photo only"
    STUCK = "stuck", "Stuck"


class EntryQuerySet(models.QuerySet["Entry"]):
    def beginning(self) -> "EntryQuerySet":
        """The photos that say that somebody is at the stage: by whom it is given to, or by whom the plan may give such work.
        Whoever does no such work took theirs in passing."""
        does = Exists(Person.objects.doing("stage__kind").filter(pk=OuterRef("by"), in_plan=True))
        return self.filter(Q(by=F("stage__maker")) | does, says=Says.PHOTO, taken_back_at=None)


class Entry(models.Model):
    """One thing said at the bench. Its id comes from the form, so that a form sent twice is one entry."""

    id = models.UUIDField(primary_key=True)
    stage = models.ForeignKey(Stage, models.PROTECT, related_name="entries")
    says = models.CharField(max_length=8, choices=Says.choices)
    sentence = models.CharField(max_length=300, blank=True)
    for_client = models.BooleanField(default=True)
    # From when the client reads the sentence: at once on a job that goes straight, else when the lead has looked.
    released_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    # Taken back although its letter had gone: the lead is told, until this says that they have seen it.
    lead_saw_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["stage"], condition=Q(says=Says.DONE, taken_back_at=None), name="entry_done_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_says_display()}: {self.stage}"

    def words_for_client(self, kind: StageKind) -> str:
        """What is for us only, or what the lead has not looked at yet, says what the studio says of every such stage."""
        return self.sentence if self.for_client and self.released_at else kind.sentence


class PhotoState(models.TextChoices):
    WAITING = "waiting", "Waiting to be developed"
    DEVELOPED = "developed", "Developed"
    UNREADABLE = "unreadable", "Did not come out"


class PhotoQuerySet(models.QuerySet["Photo"]):
    def standing(self) -> "PhotoQuerySet":
        return self.filter(entry__taken_back_at=None)

    def to_look_at(self) -> "PhotoQuerySet":
        """What waits for the lead's eye before a client may see it. On a job that goes straight, that is what came
        before it did."""
        return self.standing().filter(
            state=PhotoState.DEVELOPED,
            for_client=True,
            released_at=None,
            stage__piece__job__closed_on=None,
        )

    def spoilt(self) -> "PhotoQuerySet":
        """What did not come out, where no photo of the stage that came out has been sent since."""
        since = Photo.objects.standing().filter(stage=OuterRef("stage"), at__gte=OuterRef("at"))
        unreadable = self.standing().filter(state=PhotoState.UNREADABLE)
        return unreadable.exclude(Exists(since.filter(state=PhotoState.DEVELOPED)))

    def shown(self) -> "PhotoQuerySet":
        """What a client may see: released, and nothing else. What came with something stuck never is."""
        released = self.standing().filter(state=PhotoState.DEVELOPED, for_client=True, released_at__isnull=False)
        return released.exclude(entry__says=Says.STUCK)


@functools.cache
def _spoilt() -> Question:
    return put_together(Photo.objects.spoilt().filter(entry__by=WHOSE).order_by().values_list("entry"))


def spoilt_of(person: Person) -> set[UUID]:
    """What this person logged with a photo that did not come out and is wanted anew."""
    return {UUID(str(entry)) for (entry,) in ask(_spoilt(), person.pk)}


class Photo(models.Model):
    """A photograph from a phone. The original stays private; renditions are what anybody sees."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="photos")
    stage = models.ForeignKey(Stage, models.PROTECT, related_name="photos")
    original_sha256 = models.CharField(max_length=64)
    original_type = models.CharField(max_length=4)
    original_bytes = models.PositiveBigIntegerField()
    state = models.CharField(max_length=10, choices=PhotoState.choices, default=PhotoState.WAITING)
    reason = models.CharField(max_length=20, blank=True)
    for_client = models.BooleanField(default=True)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.CheckConstraint(
                condition=Q(released_at=None) | Q(state=PhotoState.DEVELOPED), name="photo_developed_before_release"
            ),
            models.UniqueConstraint(fields=["entry", "original_sha256"], name="photo_once_an_entry"),
        )

    def __str__(self) -> str:
        return f"Photo {self.pk}"


class Rendition(models.Model):
    """An upright sRGB copy without metadata, named by the hash of its bytes. ``edge`` is the long edge aimed at, in px."""

    photo = models.ForeignKey(Photo, models.CASCADE, related_name="renditions")
    edge = models.PositiveSmallIntegerField()
    sha256 = models.CharField(max_length=64, db_index=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()

    class Meta:
        ordering = ("edge",)
        constraints = (models.UniqueConstraint(fields=["photo", "edge"], name="rendition_once_an_edge"),)

    def __str__(self) -> str:
        return f"{self.width} × {self.height}"
