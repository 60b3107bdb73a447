"""The record: fields, constraints, and the questions that a screen asks of them. What changes rows is in ``actions``."""

from studio.workshop.models.entries import Entry, Photo, PhotoState, Rendition, Says
from studio.workshop.models.errand import Errand, ErrandState, Kind
from studio.workshop.models.history import History
from studio.workshop.models.jobs import Confirmation, Job, Piece, Release, Stage, StageKind
from studio.workshop.models.letters import Letter, LetterState, Link, Notice, NoticeState
from studio.workshop.models.people import Client, Contact, Person, Role
from studio.workshop.models.studio import Studio

__all__ = [
    "Client",
    "Confirmation",
    "Contact",
    "Entry",
    "Errand",
    "ErrandState",
    "History",
    "Job",
    "Kind",
    "Letter",
    "LetterState",
    "Link",
    "Notice",
    "NoticeState",
    "Person",
    "Photo",
    "PhotoState",
    "Piece",
    "Release",
    "Rendition",
    "Role",
    "Says",
    "Stage",
    "StageKind",
    "Studio",
]
