"""The writers. Each is one verb and one noun, in one transaction, with the errands that it causes.

People and clocks are arguments. What cannot be done raises ``Refused`` with a sentence (``errors.py``).
"""

from studio.workshop.actions.bench import can_take_back, log_at_bench, mark_seen, take_back
from studio.workshop.actions.days import (
    add_absence,
    add_closure,
    add_overtime,
    import_public_days,
    remove_absence,
    remove_closure,
    remove_overtime,
)
from studio.workshop.actions.errands import leave_errand, try_again
from studio.workshop.actions.errors import Refused, Stale, TooLate
from studio.workshop.actions.invitations import (
    accept_invitation,
    end_sessions,
    invite,
    may_let_in,
    send_invitation,
    take_back_invitation,
)
from studio.workshop.actions.jobs import (
    add_job,
    add_piece,
    change_job,
    change_piece,
    confirm_words,
    remove_piece,
)
from studio.workshop.actions.kinds import add_kind, change_kind, remove_kind
from studio.workshop.actions.links import change_link, give_link, revoke_link
from studio.workshop.actions.own_studio import start_own_studio
from studio.workshop.actions.people import (
    add_client,
    add_contact,
    add_person,
    change_client,
    change_contact,
    change_person,
    change_work,
    let_look_at_record,
    remove_contact,
    set_password,
)
from studio.workshop.actions.places import add_place, change_place, remove_place
from studio.workshop.actions.release import (
    change_words,
    keep_for_us,
    look_again,
    release_photos,
    say_nothing,
    send_word,
    take_back_letter,
)
from studio.workshop.actions.setting_out import set_out_job
from studio.workshop.actions.stages import add_stage, change_stage, finish_for, move_stage, remove_stage
from studio.workshop.actions.stuck import answer_stuck, say_stuck
from studio.workshop.actions.studio import change_hours, change_studio, set_out_studio
from studio.workshop.actions.trial import send_trial_letter
from studio.workshop.actions.wishes import start_letters, stop_letters

__all__ = [
    "Refused",
    "Stale",
    "TooLate",
    "accept_invitation",
    "add_absence",
    "add_client",
    "add_closure",
    "add_contact",
    "add_job",
    "add_kind",
    "add_overtime",
    "add_person",
    "add_piece",
    "add_place",
    "add_stage",
    "answer_stuck",
    "can_take_back",
    "change_client",
    "change_contact",
    "change_hours",
    "change_job",
    "change_kind",
    "change_link",
    "change_person",
    "change_piece",
    "change_place",
    "change_stage",
    "change_studio",
    "change_words",
    "change_work",
    "confirm_words",
    "end_sessions",
    "finish_for",
    "give_link",
    "import_public_days",
    "invite",
    "keep_for_us",
    "leave_errand",
    "let_look_at_record",
    "log_at_bench",
    "look_again",
    "mark_seen",
    "may_let_in",
    "move_stage",
    "release_photos",
    "remove_absence",
    "remove_closure",
    "remove_contact",
    "remove_kind",
    "remove_overtime",
    "remove_piece",
    "remove_place",
    "remove_stage",
    "revoke_link",
    "say_nothing",
    "say_stuck",
    "send_invitation",
    "send_trial_letter",
    "send_word",
    "set_out_job",
    "set_out_studio",
    "set_password",
    "start_letters",
    "start_own_studio",
    "stop_letters",
    "take_back",
    "take_back_invitation",
    "take_back_letter",
    "try_again",
]
