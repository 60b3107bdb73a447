"""One thing that must happen outside a request. The row is the truth; the broker only carries nudges."""

import uuid

from django.db import models
from django.db.models import Q


class Kind(models.TextChoices):
    DEVELOP_PHOTO = "develop_photo", "Develop a photo"
    SEND_LETTER = "send_letter", "Send a letter"
    TELL_LEAD = "tell_lead", "Tell a lead what is stuck"
    INVITE = "invite", "Send somebody of the studio their way in"
    TEST_LETTER = "test_letter", "Send a test letter"
    REFRESH_PLAN = "refresh_plan", "Draw the plan anew"
    TIDY_FILES = "tidy_files", "Throw away files that nothing names"


class ErrandState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    RUNNING = "running", "Running"
    HANDING = "handing", "Handing over"  # running, and past the point from which nobody can know whether it was done
    DONE = "done", "Done"
    FAILED = "failed", "Failed"
    UNKNOWN = "unknown", "Unknown"


UNDERWAY = (ErrandState.RUNNING, ErrandState.HANDING)
STANDING = (ErrandState.WAITING, *UNDERWAY)  # it will come to an end by itself


class Errand(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    key = models.CharField(max_length=80)
    subject = models.CharField(max_length=40)
    state = models.CharField(max_length=8, choices=ErrandState.choices, default=ErrandState.WAITING)
    attempts = models.PositiveIntegerField(default=0)  # only ever grows: it fences the answer of a lost claimant
    strikes = models.PositiveIntegerField(default=0)  # attempts that came to nothing since somebody last asked
    asked_at = models.DateTimeField()
    due_at = models.DateTimeField()
    nudged_at = models.DateTimeField(null=True, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    claimant = models.CharField(max_length=80, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    again = models.BooleanField(default=False)
    put_off = models.BooleanField(default=False)  # a letter that waits for the mail server to take letters at all
    error = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("due_at", "id")
        constraints = (
            models.UniqueConstraint(fields=["key"], condition=~Q(state=ErrandState.DONE), name="errand_once_a_key"),
        )
        indexes = (
            models.Index(fields=["state", "due_at"], condition=~Q(state=ErrandState.DONE), name="errand_not_done"),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.state})"
