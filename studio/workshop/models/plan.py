"""The newest plan: what was made of the record, when, and from what."""

from django.db import models


class Plan(models.Model):
    """One row. ``facts`` is the SHA-256 of all that went in, the hour aside; ``answer`` is told in ``planning/answer.py``."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    facts = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    answer = models.JSONField()

    class Meta:
        constraints = (models.CheckConstraint(condition=models.Q(id=1), name="plan_only_one"),)

    def __str__(self) -> str:
        return f"Plan of {self.made_at}"
