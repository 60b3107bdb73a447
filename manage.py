#!/usr/bin/env python3
"""The one entrance: `up` runs the studio, `test` tests it, and any command of Django runs as usual."""

import sys

from studio import setup


def main() -> None:
    setup.enter(sys.argv)
    from studio.running import entrance  # only now are the packages certain to be there

    sys.exit(entrance.run(sys.argv))


if __name__ == "__main__":
    main()
