"""The studio itself: the one row that says how it works."""

from django.db import models


class Studio(models.Model):
    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    name = models.CharField(max_length=80, default="Our studio")
    time_zone = models.CharField(max_length=60, default="Europe/London")
    undo_minutes = models.PositiveSmallIntegerField(default=10)
    demo = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = (models.CheckConstraint(condition=models.Q(id=1), name="studio_only_one"),)

    def __str__(self) -> str:
        return self.name
