import pytest
from django.test import Client

from studio.front.signin import openers
from studio.workshop import actions
from studio.workshop.models import Person, Role, Studio
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db

PASSWORD = "a lump of wet plaster"
URL = "http://127.0.0.1:8000"


@pytest.fixture
def ada() -> Person:
    person = builders.person("Ada")
    person.set_password(PASSWORD)
    person.save()
    return person


def told(client: Client, **form: str) -> tuple[int, str]:
    response = client.post("/sign-in/", form)
    return response.status_code, response.headers.get("Location", response.content.decode())


def test_a_maker_comes_in_at_the_bench(site: Client, ada: Person) -> None:
    assert told(site, email="Ada@BodkinYard.example", password=PASSWORD) == (302, "/bench/")
    assert site.get("/for-bench/").status_code == 200


def test_a_wrong_password_and_an_unknown_address_read_alike(site: Client, ada: Person) -> None:
    wrong = told(site, email=ada.email, password="something else")
    unknown = told(site, email="nobody@bodkinyard.example", password=PASSWORD)
    assert wrong[0] == unknown[0] == 422
    for _, body in (wrong, unknown):
        assert "<title>Error: Sign in" in body
        assert "Nobody here has that e-mail address and password." in body
        assert PASSWORD not in body


def test_an_address_cut_short_is_named_and_kept(site: Client) -> None:
    status, body = told(site, email="ada", password="")
    assert status == 422
    assert 'value="ada"' in body
    assert 'aria-describedby="email-wrong"' in body
    assert 'aria-describedby="password-wrong"' in body


def test_somebody_who_left_does_not_come_in(site: Client, ada: Person) -> None:
    Person.objects.filter(pk=ada.pk).update(is_active=False)
    assert told(site, email=ada.email, password=PASSWORD)[0] == 422


@pytest.mark.parametrize(
    ("wanted", "gets"),
    [
        ("/for-bench/?of=snail", "/for-bench/?of=snail"),
        ("https://elsewhere.example/", "/bench/"),
        ("//elsewhere.example/", "/bench/"),
        ("javascript:alert(1)", "/bench/"),
        ("", "/bench/"),
    ],
)
def test_one_goes_on_only_within_this_site(site: Client, ada: Person, wanted: str, gets: str) -> None:
    assert told(site, email=ada.email, password=PASSWORD, next=wanted) == (302, gets)


@pytest.mark.parametrize("address", ["/for-lead/", "/for-bench/", "/media/" + "0" * 64 + ".jpg"])
def test_nobody_is_sent_to_the_sign_in_and_back(site: Client, address: str) -> None:
    response = site.get(address)
    assert response.status_code == 302
    assert response.headers["Location"] == f"/sign-in/?next={address.replace('/', '%2F')}"


def test_htmx_leaves_the_page_instead_of_putting_the_sign_in_into_a_corner(site: Client) -> None:
    response = site.post("/for-bench/", headers={"HX-Request": "true"})
    assert response.headers["HX-Redirect"] == "/sign-in/"


@pytest.mark.parametrize(
    ("role", "lead_page", "bench_page"), [(Role.LEAD, 200, 200), (Role.MAKER, 403, 200), (Role.PACKER, 403, 200)]
)
def test_each_role_has_its_doors(site: Client, role: Role, lead_page: int, bench_page: int) -> None:
    site.force_login(builders.person(f"Some{role}", role))
    assert site.get("/for-lead/").status_code == lead_page
    assert site.get("/for-bench/").status_code == bench_page


def test_signing_out_takes_a_form(site: Client, ada: Person) -> None:
    site.force_login(ada)
    assert site.get("/sign-out/").status_code == 405
    assert site.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert site.get("/for-bench/").status_code == 302


def test_the_start_sends_each_to_their_own(site: Client, ada: Person) -> None:
    assert site.get("/").headers["Location"] == "/sign-in/"
    site.force_login(ada)
    assert site.get("/").headers["Location"] == "/bench/"
    site.force_login(builders.lead())
    assert site.get("/").headers["Location"] == "/office/"


@pytest.fixture
def demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STUDIO_OPENER_NONCE", "this run")
    builders.link(builders.job())
    builders.person("Ada")
    Studio.objects.update(demo=True)


@pytest.mark.usefixtures("demo")
def test_the_demo_opens_straight_in(site: Client) -> None:
    found = openers(URL)
    assert all(address.startswith(URL) for address in found.values())
    assert found["client"].startswith(f"{URL}/with/")
    for role, home in (("lead", "/office/"), ("maker", "/bench/")):
        response = site.get(found[role].removeprefix(URL))
        assert (response.status_code, response.headers["Location"]) == (302, home)
        assert site.get("/for-bench/").status_code == 200
    assert site.get("/for-lead/").status_code == 403


@pytest.mark.usefixtures("demo")
@pytest.mark.parametrize("change", ["own studio", "another run", "no run", "forged", "somebody left"])
def test_an_opener_stops(site: Client, monkeypatch: pytest.MonkeyPatch, change: str) -> None:
    address = openers(URL)["lead"].removeprefix(URL)
    if change == "own studio":
        Studio.objects.update(demo=False)
    elif change == "another run":
        monkeypatch.setenv("STUDIO_OPENER_NONCE", "the next run")
    elif change == "no run":
        monkeypatch.delenv("STUDIO_OPENER_NONCE")
    elif change == "forged":
        address = doors.tampered(address)
    else:
        Person.objects.update(is_active=False)
    assert site.get(address).status_code == 404
    assert site.get("/for-bench/").status_code == 302


def test_a_real_studio_has_no_openers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STUDIO_OPENER_NONCE", "this run")
    actions.set_out_studio()
    actions.add_person(name="Ines", email="ines@bodkinyard.example", role=Role.LEAD, password=None, by=None, now=NOW)
    assert openers(URL) == {"lead": "", "maker": "", "client": ""}


@pytest.mark.usefixtures("demo")
def test_the_demo_says_so(site: Client) -> None:
    assert "This is the demo studio. Nothing here is real." in site.get("/sign-in/").content.decode()
    Studio.objects.update(demo=False)
    assert "demo studio" not in site.get("/sign-in/").content.decode()


@pytest.mark.parametrize(("wanted", "kept"), [("day", "day"), ("slate", "slate"), ("auto", ""), ("neon", "")])
def test_the_light_is_kept_in_a_cookie(site: Client, wanted: str, kept: str) -> None:
    response = site.post("/light/", {"light": wanted, "next": "/sign-in/"})
    assert response.headers["Location"] == "/sign-in/"
    assert response.cookies["light"].value == kept
