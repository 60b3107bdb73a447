"""The writers. Each is one verb and one noun, in one transaction, with the errands that it causes.

People and clocks are arguments. What cannot be done raises ``Refused`` with a sentence (``errors.py``).
"""

from studio.workshop.actions.bench import can_take_back, log_at_bench, mark_seen, take_back
from studio.workshop.actions.errands import leave_errand, try_again
from studio.workshop.actions.errors import Refused, Stale, TooLate
from studio.workshop.actions.jobs import (
    add_job,
    add_kind,
    add_piece,
    add_stage,
    change_job,
    change_kind,
    change_piece,
    change_stage,
    confirm_words,
    move_stage,
    remove_piece,
    remove_stage,
)
from studio.workshop.actions.links import give_link, revoke_link
from studio.workshop.actions.people import (
    add_client,
    add_contact,
    add_person,
    change_client,
    change_contact,
    change_person,
    remove_contact,
    set_password,
)
from studio.workshop.actions.release import (
    change_words,
    keep_for_us,
    look_again,
    release_photos,
    say_nothing,
    send_word,
    take_back_letter,
)
from studio.workshop.actions.studio import change_studio, set_out_studio

__all__ = [
    "Refused",
    "Stale",
    "TooLate",
    "add_client",
    "add_contact",
    "add_job",
    "add_kind",
    "add_person",
    "add_piece",
    "add_stage",
    "can_take_back",
    "change_client",
    "change_contact",
    "change_job",
    "change_kind",
    "change_person",
    "change_piece",
    "change_stage",
    "change_studio",
    "change_words",
    "confirm_words",
    "give_link",
    "keep_for_us",
    "leave_errand",
    "log_at_bench",
    "look_again",
    "mark_seen",
    "move_stage",
    "release_photos",
    "remove_contact",
    "remove_piece",
    "remove_stage",
    "revoke_link",
    "say_nothing",
    "send_word",
    "set_out_studio",
    "set_password",
    "take_back",
    "take_back_letter",
    "try_again",
]
