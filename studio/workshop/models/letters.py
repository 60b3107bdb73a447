"""Who may read along, who is owed word, and what was written."""

from datetime import date

from django.db import models
from django.db.models import Q

from studio.workshop.models.entries import Entry, Photo
from studio.workshop.models.jobs import Job, Stage
from studio.workshop.models.people import Contact, Person
from studio.workshop.models.stuck import Stuck


class LinkQuerySet(models.QuerySet["Link"]):
    def standing(self) -> "LinkQuerySet":
        return self.filter(revoked_at=None)

    def opening(self, day: date) -> "LinkQuerySet":
        """Those that open on that day of the shop."""
        return self.standing().filter(Q(expires_on=None) | Q(expires_on__gte=day))

    def written_to(self) -> "LinkQuerySet":
        """Those whose contact can be, and wants to be, written to."""
        return self.standing().filter(letters_stopped_at=None).exclude(contact__email="")


class Link(models.Model):
    """One contact's door to the page of one job. The token is computed from it (``workshop/links.py``), never stored."""

    contact = models.ForeignKey(Contact, models.CASCADE, related_name="links")
    job = models.ForeignKey(Job, models.CASCADE, related_name="links")
    public_id = models.CharField(max_length=16, unique=True)
    version = models.PositiveIntegerField(default=1)
    expires_on = models.DateField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    letters_stopped_at = models.DateTimeField(null=True, blank=True)  # the contact wants no more letters about this job
    opened_on = models.DateField(
        null=True, blank=True
    )  # the last day on which the page was opened; by whom nobody knows

    objects = LinkQuerySet.as_manager()

    class Meta:
        ordering = ("id",)
        constraints = (models.UniqueConstraint(fields=["contact", "job"], name="link_once_a_contact_and_job"),)

    def __str__(self) -> str:
        return self.public_id


class NoticeState(models.TextChoices):
    OWED = "owed", "Owed"  # waits for a photo to be developed, or for the lead to look
    GOING = "going", "Going"  # has an hour to leave, and can still be taken back
    LEAVING = "leaving", "Leaving"  # the letter is being handed over; too late to take back
    TOLD = "told", "Told"
    WITHDRAWN = "withdrawn", "Withdrawn"


class Notice(models.Model):
    """A contact is owed word that a stage is done. At most one a stage, unless it was withdrawn before it left."""

    contact = models.ForeignKey(Contact, models.CASCADE, related_name="notices")
    job = models.ForeignKey(Job, models.CASCADE, related_name="notices")
    stage = models.ForeignKey(Stage, models.CASCADE, related_name="notices")
    entry = models.ForeignKey(Entry, models.CASCADE, related_name="notices")
    state = models.CharField(max_length=10, choices=NoticeState.choices, default=NoticeState.OWED)
    at = models.DateTimeField()
    leaves_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["contact", "stage"], condition=~Q(state=NoticeState.WITHDRAWN), name="notice_once_a_stage"
            ),
        )

    def __str__(self) -> str:
        return f"{self.contact}: {self.stage}"


class LetterState(models.TextChoices):
    SENT = "sent", "Sent"
    UNKNOWN = "unknown", "Perhaps sent"


class Letter(models.Model):
    """What was written and sent. Holds ids, not texts: the text is in the outbox file named by the letter's id.

    To a contact it is about a notice; to somebody of the studio, about what is stuck.
    """

    id = models.UUIDField(primary_key=True)  # the id of the errand that sent it, and so its Message-ID
    notice = models.OneToOneField(Notice, models.CASCADE, null=True, blank=True, related_name="letter")
    contact = models.ForeignKey(Contact, models.CASCADE, null=True, blank=True, related_name="letters")
    stuck = models.ForeignKey(Stuck, models.CASCADE, null=True, blank=True, related_name="letters")
    person = models.ForeignKey(Person, models.CASCADE, null=True, blank=True, related_name="+")
    job = models.ForeignKey(Job, models.CASCADE, related_name="letters")
    photo = models.ForeignKey(Photo, models.SET_NULL, null=True, blank=True, related_name="+")
    state = models.CharField(max_length=8, choices=LetterState.choices, default=LetterState.SENT)
    server = models.CharField(max_length=200, blank=True)  # the mail server that took it; none: it lies in the outbox
    sent_at = models.DateTimeField()

    class Meta:
        ordering = ("-sent_at", "-id")
        constraints = (
            models.CheckConstraint(
                condition=Q(notice__isnull=False, contact__isnull=False, stuck=None, person=None)
                | Q(notice=None, contact=None, stuck__isnull=False, person__isnull=False),
                name="letter_to_client_or_studio",
            ),
        )

    def __str__(self) -> str:
        return f"Letter {self.pk}"
