"""Who did what, when. Written once, never changed; ids only, so that a person can be erased from the rest."""

from typing import Any, NoReturn

from django.db import models

from studio.workshop.models.jobs import Job
from studio.workshop.models.people import Person


class AppendOnly(models.QuerySet["History"]):
    def update(self, **values: Any) -> NoReturn:
        raise TypeError("History is only ever added to.")

    def delete(self) -> NoReturn:
        raise TypeError("History is only ever added to.")


class History(models.Model):
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")  # nobody: the studio's own errands
    verb = models.CharField(max_length=40)
    job = models.ForeignKey(Job, models.DO_NOTHING, null=True, db_constraint=False, related_name="history")
    subject = models.CharField(max_length=60)  # such as "stage 14"

    objects = AppendOnly.as_manager()

    class Meta:
        ordering = ("-at", "-id")

    def __str__(self) -> str:
        return f"{self.verb} {self.subject}"
