"""The raw record, to look at: every row of the workshop as it is, for active superusers, and nothing to change.

Of Django's admin this keeps the pages that list and show. Its sign-in, sign-out, passwords and forms have no address here.
"""

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.contrib import admin
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import URLPattern, URLResolver
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from studio.workshop.models import Link, Person

if TYPE_CHECKING:
    _ModelAdmin = admin.ModelAdmin[models.Model]
else:
    _ModelAdmin = admin.ModelAdmin

HIDDEN: dict[type[models.Model], tuple[str, ...]] = {Person: ("password",), Link: ("public_id",)}
# Large, and of no use in a list.
_ONLY_ALONE = (models.JSONField, models.TextField)
_PAGES = {"index", "app_list", "jsi18n"}  # the last is a script that their templates ask for
_MODEL_PAGES = ("_changelist", "_change")


class RawRecord(admin.AdminSite):
    site_title = site_header = index_title = "The raw record"
    site_url = "/office/"
    enable_nav_sidebar = False
    final_catch_all_view = False

    def has_permission(self, request: HttpRequest) -> bool:
        return request.user.is_active and isinstance(request.user, Person) and request.user.is_superuser

    def admin_view(self, view: Callable[..., Any], cacheable: bool = False) -> Any:
        @wraps(view)
        def door(request: HttpRequest, /, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not self.has_permission(request):
                raise PermissionDenied
            answer: HttpResponseBase = require_safe(view)(request, *args, **kwargs)
            return answer

        return never_cache(door)

    def get_urls(self) -> list[URLPattern | URLResolver]:
        found = super().get_urls()
        return [one for one in found if isinstance(one, URLResolver) or one.name in _PAGES]


class Rows(_ModelAdmin):
    actions = None
    list_per_page = 50
    show_full_result_count = False
    list_display_links = ("pk",)

    def get_urls(self) -> list[URLPattern]:
        return [one for one in super().get_urls() if str(one.name).endswith(_MODEL_PAGES)]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return False

    def get_exclude(self, request: HttpRequest, obj: models.Model | None = None) -> tuple[str, ...]:
        return HIDDEN.get(self.model, ())

    def get_list_display(self, request: HttpRequest) -> tuple[str, ...]:
        hidden = HIDDEN.get(self.model, ())
        fields = [field for field in self.opts.concrete_fields if not isinstance(field, _ONLY_ALONE)]
        return ("pk", *(field.name for field in fields if not field.primary_key and field.name not in hidden))

    def lookup_allowed(self, lookup: str, value: str, request: HttpRequest | None = None) -> bool:
        """None: what is hidden could be guessed from the address, letter by letter."""
        return False


site = RawRecord(name="admin")
for _model in apps.get_app_config("workshop").get_models():
    site.register(_model, Rows)
