"""Run photolab as a module: `python -m photolab`."""

import sys

if __name__ == "__main__":
    if not sys.flags.safe_path:
        del sys.path[0]  # the current folder: no module is taken from a bench folder
    from photolab.cli import main

    sys.exit(main())
