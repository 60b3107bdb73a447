import pytest
from django.template import engines
from django.test import Client, RequestFactory
from pytest_django import DjangoAssertNumQueries

from studio.front.context import page
from studio.workshop.models import Studio
from tests import builders

PART = "only the part"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("headers", "part"),
    [
        ({}, False),
        ({"HX-Request": "true"}, True),
        ({"HX-Request": "true", "HX-Boosted": "true"}, False),
        ({"HX-Request": "true", "HX-History-Restore-Request": "true"}, False),
    ],
)
def test_htmx_gets_the_part_and_a_browser_the_page(site: Client, headers: dict[str, str], part: bool) -> None:
    response = site.get("/parts/", headers=headers)
    assert (PART in response.content.decode()) is part
    assert "HX-Request" in response.headers["Vary"]


@pytest.mark.once
def test_a_clients_page_asks_the_database_nothing(rf: RequestFactory) -> None:
    assert page(rf.get("/with/abc/")) == {"studio_name": "", "demo": False, "light": "auto", "person": None}


@pytest.mark.django_db
def test_elsewhere_the_studio_is_read_once_and_only_when_wanted(
    rf: RequestFactory, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    builders.job()
    Studio.objects.update(name="Bodkin Yard", demo=True)
    request = rf.get("/office/")
    with django_assert_num_queries(0):
        known = page(request)
    template = engines["django"].from_string("{{ studio_name }}{% if demo %} demo{% endif %}{{ studio_name }}")
    with django_assert_num_queries(1):
        assert template.render(known) == "Bodkin Yard demoBodkin Yard"


BASE = '{% extends "base.html" %}{% block title %}Jobs{% endblock title %}'


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("light", "shown"), [("day", ' data-light="day"'), ("slate", ' data-light="slate"'), ("neon", ""), ("auto", "")]
)
def test_the_page_is_drawn_in_the_light_that_was_chosen(rf: RequestFactory, light: str, shown: str) -> None:
    request = rf.get("/office/")
    request.COOKIES["light"] = light
    body = engines["django"].from_string(BASE).render({}, request)
    assert f'<html lang="en-gb"{shown}>' in body
    assert body.count('aria-pressed="true"') == 1
