"""Beat as a process of its own: ``python -m studio.running.beat FILE``, which holds when what was last asked for.

Started through Celery's command line it would load that whole line, an interactive shell included.
"""

import os
import sys

from studio.celery import app

if __name__ == "__main__":
    os.environ["CELERY_SKIP_CHECKS"] = "true"  # Django's checks are for who builds, and would load each page
    app.Beat(schedule=sys.argv[1], quiet=True).run()
