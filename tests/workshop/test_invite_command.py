"""`manage.py invite`: the first way into a studio, and the one that is always left."""

import re
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from studio.workshop.invitations import OPENS_FOR, person_for
from studio.workshop.models import Person, Role, Studio
from tests import builders
from tests.workshop.processes import manage, said, start_in

ADDRESS = re.compile(r"^ +(http\S+)/letterbox/come-in/(\S+)/$", re.MULTILINE)


def invited(*words: str) -> Person:
    out = StringIO()
    call_command("invite", *words, stdout=out)
    found = ADDRESS.search(out.getvalue())
    assert found, out.getvalue()
    row = Person.objects.get(email=words[0].lower())
    assert row.invited_at
    person = person_for(found[2], row.invited_at + OPENS_FOR / 2)
    assert person == row
    return row


@pytest.mark.django_db
def test_somebody_new_is_made_a_lead_unless_told() -> None:
    ines = invited("Ines@BodkinYard.example")
    assert (ines.name, ines.role, ines.is_superuser) == ("Ines", Role.LEAD, False)
    bo = invited("bo@bodkinyard.example", "--name", "Bo B.", "--role", "packer")
    assert (bo.name, bo.role) == ("Bo B.", Role.PACKER)
    assert Studio.objects.count() == 1


@pytest.mark.django_db
def test_somebody_who_is_there_gets_a_new_link_and_stays_as_they_are() -> None:
    ada = builders.person("Ada")
    assert invited(ada.email).role == Role.MAKER
    assert invited(ada.email, "--superuser").is_superuser
    with pytest.raises(CommandError, match="changed under People"):
        call_command("invite", ada.email, "--role", "lead")
    assert Person.objects.get().role == Role.MAKER


@pytest.mark.django_db
@pytest.mark.parametrize("words", [("ines",), ("ines@bodkinyard.example", "--role", "owner")])
def test_what_cannot_be_is_said(words: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        call_command("invite", *words)
    assert not Person.objects.exists()


@pytest.mark.django_db
def test_who_has_left_is_let_in_first() -> None:
    Person.objects.filter(pk=builders.person("Ada").pk).update(is_active=False)
    with pytest.raises(CommandError, match="may not sign in any more"):
        call_command("invite", "ada@bodkinyard.example")


@pytest.mark.once
def test_a_database_that_cannot_be_used_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "studio.sqlite3").write_text("This is no database, and it is long enough to be seen as none. " * 20)
    run = manage("invite", "ines@bodkinyard.example", data=tmp_path)
    assert run.returncode == 1
    assert run.stderr.startswith("CommandError: The database cannot be used. ")
    assert len(run.stderr.strip().splitlines()) == 1


@pytest.mark.once
def test_on_an_empty_folder_the_studio_is_ones_own_and_no_demo(tmp_path: Path) -> None:
    run = manage("invite", "ines@bodkinyard.example", data=tmp_path)
    assert run.returncode == 0, run.stderr
    assert ADDRESS.search(run.stdout)
    script = """
from studio.workshop.management.commands.up import _prepare
from studio.workshop.models import Job, Person, Studio
_prepare(open_to_network=False)
print(Studio.objects.get().demo, Person.objects.count(), Job.objects.count())
"""
    assert said(start_in(script, data=tmp_path)) == "False 1 0"


@pytest.mark.django_db
@pytest.mark.parametrize(("given", "told"), [("", 1), ("https://yard.example", 0)])
def test_it_says_what_to_do_where_the_studio_answers_elsewhere(
    monkeypatch: pytest.MonkeyPatch, given: str, told: int
) -> None:
    monkeypatch.setenv("STUDIO_ADDRESS", given)
    out = StringIO()
    call_command("invite", "ines@yard.example", stdout=out)
    assert out.getvalue().count("Where up prints another address") == told
