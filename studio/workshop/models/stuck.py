"""What a maker said is stuck, and what became of it."""

from django.db import models
from django.db.models import Q

from studio.workshop.models.entries import Entry
from studio.workshop.models.jobs import Stage
from studio.workshop.models.people import Person


class Needs(models.TextChoices):
    HAND = "hand", "A hand"
    MATERIAL = "material", "Material"
    ANSWER = "answer", "An answer"
    BROKE = "broke", "It broke"


class StuckQuerySet(models.QuerySet["Stuck"]):
    def standing(self) -> "StuckQuerySet":
        """What nobody has answered yet, the oldest first."""
        return self.filter(answered_at=None, stage__done_at=None, stage__piece__job__closed_on=None)


class Stuck(models.Model):
    """A stage cannot go on. The words and photos that came with it are those of its entry, and for us only."""

    entry = models.OneToOneField(Entry, models.PROTECT, related_name="stuck")
    stage = models.ForeignKey(Stage, models.PROTECT, related_name="stuck")
    needs = models.CharField(max_length=8, choices=Needs.choices)
    at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    answer = models.CharField(max_length=300, blank=True)

    objects = StuckQuerySet.as_manager()

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.UniqueConstraint(fields=["stage"], condition=Q(answered_at=None), name="stuck_once_a_stage"),
            models.CheckConstraint(
                condition=Q(answered_at=None, answered_by=None)
                | Q(answered_at__isnull=False, answered_by__isnull=False),
                name="stuck_answered_by_somebody",
            ),
        )

    def __str__(self) -> str:
        return f"{self.stage}: {self.get_needs_display()}"
