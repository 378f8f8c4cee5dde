"""Django's admin list of the same table, as its documentation sets it up: one unmanaged model, a signed-in person.

Its own tables (people, sessions) stand in a second file, so that the measured database stays as it is.
"""

import os
from pathlib import Path
from typing import Any

import django
from django.conf import settings

FILE = Path(os.environ["PAIRTRAIL_MEASURED"])
settings.configure(
    SECRET_KEY="for one measurement on this machine",
    ALLOWED_HOSTS=["127.0.0.1"],
    ROOT_URLCONF=__name__,
    USE_TZ=True,
    INSTALLED_APPS=[
        "django.contrib.admin",
        "django.contrib.auth",
        "django.contrib.contenttypes",
        "django.contrib.messages",
        "django.contrib.sessions",
    ],
    MIDDLEWARE=[
        "django.contrib.sessions.middleware.SessionMiddleware",
        "django.contrib.auth.middleware.AuthenticationMiddleware",
        "django.contrib.messages.middleware.MessageMiddleware",
    ],
    TEMPLATES=[
        {
            "BACKEND": "django.template.backends.django.DjangoTemplates",
            "APP_DIRS": True,
            "OPTIONS": {
                "context_processors": [
                    "django.template.context_processors.request",
                    "django.contrib.auth.context_processors.auth",
                    "django.contrib.messages.context_processors.messages",
                ]
            },
        }
    ],
    STATIC_URL="/static/",
    DATABASES={
        "default": {"ENGINE": "django.db.backends.sqlite3", "NAME": FILE.with_name("django.db")},
        "lab": {"ENGINE": "django.db.backends.sqlite3", "NAME": FILE},
    },
    DATABASE_ROUTERS=[f"{__name__}.LabsTables"],
)
django.setup()

from django.contrib import admin  # noqa: E402 - Django wants to be set up first
from django.core.asgi import get_asgi_application  # noqa: E402
from django.db import models  # noqa: E402
from django.urls import path  # noqa: E402


class LabsTables:
    def db_for_read(self, model: Any, **hints: Any) -> str:
        return "default" if model._meta.managed else "lab"


class Clinic(models.Model):  # type: ignore[misc]  # the library has no types
    name = models.TextField()

    class Meta:
        app_label, db_table, managed = "admin", "clinic", False

    def __str__(self) -> str:
        return str(self.name)


class Pair(models.Model):  # type: ignore[misc]  # the library has no types
    code = models.TextField()
    label = models.TextField()
    clinic = models.ForeignKey(Clinic, on_delete=models.DO_NOTHING)
    all_sides = models.TextField()
    stage = models.TextField()
    since = models.DateTimeField()
    due_on = models.DateField()
    place = models.TextField()
    parked_on = models.TextField()
    rush = models.BooleanField()
    tray = models.IntegerField()

    class Meta:
        app_label, db_table, managed = "admin", "pair", False


@admin.register(Pair)
class Pairs(admin.ModelAdmin):  # type: ignore[misc]  # the library has no types
    list_display = (
        *("code", "label", "clinic", "all_sides", "stage", "due_on", "since", "place", "parked_on", "rush", "tray"),
    )
    list_select_related = ("clinic",)
    list_per_page = 50
    ordering = ("due_on", "since", "id")
    show_full_result_count = False


urlpatterns = [path("admin/", admin.site.urls)]
app = get_asgi_application()


def signed_in() -> str:
    """Makes Django's own tables and a signed-in person; gives the session's key for the cookie `sessionid`."""
    from importlib import import_module

    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY, get_user_model
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    person = get_user_model().objects.create_superuser("reader", password="for one measurement")
    session = import_module(settings.SESSION_ENGINE).SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    return str(session.session_key)


if __name__ == "__main__":
    print(signed_in())
