"""The studio itself: the one row that says how it works, its places, and the days when it is shut."""

from datetime import date

from django.db import models
from django.db.models import F, Q

# Spans of local time, from Monday to Sunday; an empty day is a day off.
Week = list[list[list[str]]]


def default_week() -> Week:
    return [[["08:00", "12:30"], ["13:00", "17:00"]] for _ in range(5)] + [[], []]


class Place(models.Model):
    """Where a stage is done. ``capacity`` is how many stages may be there at once, those that cure there included."""

    name = models.CharField(max_length=40, unique=True)
    capacity = models.PositiveSmallIntegerField(default=1)
    position = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("position", "name")

    def __str__(self) -> str:
        return self.name


class ClosureQuerySet(models.QuerySet["Closure"]):
    def touching(self, first: date, last: date) -> "ClosureQuerySet":
        return self.filter(first_day__lte=last, last_day__gte=first)


class Closure(models.Model):
    """Days when nobody works: the studio's own, or public holidays that were imported on request."""

    first_day = models.DateField()
    last_day = models.DateField()
    name = models.CharField(max_length=80)
    public = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    objects = ClosureQuerySet.as_manager()

    class Meta:
        ordering = ("first_day", "id")
        constraints = (
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="closure_ends_after_it_begins"),
            models.UniqueConstraint(fields=["first_day"], condition=Q(public=True), name="closure_public_once_a_day"),
            models.UniqueConstraint(
                fields=["first_day", "last_day", "name"], condition=Q(public=False), name="closure_once"
            ),
        )

    def __str__(self) -> str:
        return self.name


class Studio(models.Model):
    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    name = models.CharField(max_length=80, default="Our studio")
    time_zone = models.CharField(max_length=60, default="Europe/London")
    undo_minutes = models.PositiveSmallIntegerField(default=10)
    hours = models.JSONField(default=default_week)
    country = models.CharField(max_length=2, blank=True)  # whose public holidays are imported; ISO 3166-1 and 3166-2
    region = models.CharField(max_length=8, blank=True)
    demo = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = (models.CheckConstraint(condition=models.Q(id=1), name="studio_only_one"),)

    def __str__(self) -> str:
        return self.name
