"""What manage.py does once the packages are there: the tests, or a command of Django."""

import os

from studio.env import BadSetting


def run(argv: list[str]) -> int | str:
    """The exit code, or a sentence for stderr."""
    if argv[1] == "test":
        from studio.running import testing

        return testing.run(argv[2:])
    from django.core.management import execute_from_command_line

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    try:
        execute_from_command_line(argv)
    except BadSetting as problem:
        return str(problem)
    return 0
