"""Who works here, and whom the work is for."""

from typing import TYPE_CHECKING, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils.crypto import salted_hmac

if TYPE_CHECKING:
    from studio.workshop.models.jobs import StageKind


class Role(models.TextChoices):
    LEAD = "lead", "Lead"
    MAKER = "maker", "Maker"
    PACKER = "packer", "Packer"


class PersonManager(BaseUserManager["Person"]):
    def get_by_natural_key(self, username: str | None) -> "Person":
        """Signs in by e-mail, whichever way it is capitalised."""
        return self.get(email__iexact=username)

    def doing(self, kind: str) -> models.QuerySet["Person"]:
        """Who does a kind of work, which is named from the question around this. No kind ticked at all is everything."""
        return self.filter(models.Q(skills=None) | models.Q(skills=models.OuterRef(kind)))


class Person(AbstractBaseUser):
    """Somebody of the studio. Signs in with an e-mail address and a password."""

    name = models.CharField(max_length=60)
    email = models.EmailField(max_length=200, unique=True)  # kept in small letters by the actions
    role = models.CharField(max_length=8, choices=Role.choices, default=Role.MAKER)
    is_active = models.BooleanField(default=True)
    is_superuser = models.BooleanField(default=False)  # may look at the raw record, and change nothing there
    invited_at = models.DateTimeField(null=True, blank=True)  # a link to choose a password stands open since
    session_round = models.PositiveIntegerField(default=1)  # raised, it ends every session of theirs
    in_plan = models.BooleanField(default=True)  # whether the plan may give them work
    skills: "models.ManyToManyField[StageKind, models.Model]" = models.ManyToManyField(
        "StageKind", blank=True, related_name="+"
    )  # none named: they do everything
    hours = models.JSONField(null=True, blank=True)  # a Week of their own; None: the shop's
    version = models.PositiveIntegerField(default=1)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects = PersonManager()

    class Meta:
        ordering = ("name", "id")

    def __str__(self) -> str:
        return self.name

    @property
    def is_lead(self) -> bool:
        return self.role == Role.LEAD

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session is tied to: it ends with the password, and when somebody ends it."""
        value = f"{self.password} {self.session_round}"
        return salted_hmac("studio.workshop.Person.session", value, secret=secret, algorithm="sha256").hexdigest()

    @property
    def is_staff(self) -> bool:
        return self.is_superuser

    def has_perm(self, perm: str, obj: object = None) -> bool:
        """Asked by the admin alone, where everything but looking is switched off."""
        return self.is_active and self.is_superuser

    def has_module_perms(self, app_label: str) -> bool:
        return self.is_active and self.is_superuser


class Absence(models.Model):
    """Days when somebody is not there. Why is nobody's business here."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="absences")
    first_day = models.DateField()
    last_day = models.DateField()

    class Meta:
        ordering = ("first_day", "id")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(last_day__gte=models.F("first_day")), name="absence_ends_after_it_begins"
            ),
            models.UniqueConstraint(fields=["person", "first_day", "last_day"], name="absence_once"),
        )

    def __str__(self) -> str:
        return f"{self.person} is away"


class Overtime(models.Model):
    """Hours on one day over and above somebody's week; they count on days when the shop is shut, too."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="overtime")
    day = models.DateField()
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ("day", "starts", "id")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(ends__gt=models.F("starts")), name="overtime_ends_after_it_begins"
            ),
            models.UniqueConstraint(fields=["person", "day", "starts", "ends"], name="overtime_once"),
        )

    def __str__(self) -> str:
        return f"{self.person} works longer"


class Client(models.Model):
    """Who commissions: a theatre, a museum, a bakery."""

    name = models.CharField(max_length=120)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("name", "id")

    def __str__(self) -> str:
        return self.name


class Contact(models.Model):
    """A person at a client's who gets word of a job. Without an address they have the page, but no letters."""

    client = models.ForeignKey(Client, models.CASCADE, related_name="contacts")
    name = models.CharField(max_length=80)
    email = models.EmailField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("name", "id")

    def __str__(self) -> str:
        return self.name
