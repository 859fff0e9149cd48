"""Run photolab as a module: `python -m photolab`."""

import sys

from photolab.cli import main

if __name__ == "__main__":
    sys.exit(main())
