"""The record: fields, constraints, and the questions that a screen asks of them. What changes rows is in ``actions``."""

from studio.workshop.models.coming import Coming, coming, coming_for, one_coming
from studio.workshop.models.entries import Entry, Photo, PhotoState, Rendition, Says, spoilt_of
from studio.workshop.models.errand import STANDING, UNDERWAY, Errand, ErrandState, Kind
from studio.workshop.models.history import History
from studio.workshop.models.jobs import Confirmation, Job, Piece, Release, Stage, StageKind, Wanted
from studio.workshop.models.letters import Letter, LetterState, Link, Notice, NoticeState
from studio.workshop.models.people import Absence, Client, Contact, Overtime, Person, Role
from studio.workshop.models.plan import Plan
from studio.workshop.models.stuck import Needs, Stuck
from studio.workshop.models.studio import Closure, Place, Studio, Week

__all__ = [
    "STANDING",
    "UNDERWAY",
    "Absence",
    "Client",
    "Closure",
    "Coming",
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
    "Needs",
    "Notice",
    "NoticeState",
    "Overtime",
    "Person",
    "Photo",
    "PhotoState",
    "Piece",
    "Place",
    "Plan",
    "Release",
    "Rendition",
    "Role",
    "Says",
    "Stage",
    "StageKind",
    "Stuck",
    "Studio",
    "Wanted",
    "Week",
    "coming",
    "coming_for",
    "one_coming",
    "spoilt_of",
]
