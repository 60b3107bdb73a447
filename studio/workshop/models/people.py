"""Who works here, and whom the work is for."""

from typing import ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.db import models


class Role(models.TextChoices):
    LEAD = "lead", "Lead"
    MAKER = "maker", "Maker"
    PACKER = "packer", "Packer"


class PersonManager(BaseUserManager["Person"]):
    def get_by_natural_key(self, username: str | None) -> "Person":
        """Signs in by e-mail, whichever way it is capitalised."""
        return self.get(email__iexact=username)


class Person(AbstractBaseUser, PermissionsMixin):
    """Somebody of the studio. Signs in with an e-mail address and a password."""

    name = models.CharField(max_length=60)
    email = models.EmailField(max_length=200, unique=True)  # kept in small letters by the actions
    role = models.CharField(max_length=8, choices=Role.choices, default=Role.MAKER)
    is_active = models.BooleanField(default=True)
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
