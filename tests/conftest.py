"""What every test starts from: the demo bench is the default, and kernels treat warnings as errors."""

import os

from photolab.publication.report.notebooks import STRICT_ENVIRONMENT

# Kernels that the notebook plugin starts inherit this process's environment;
# a bench of the user's must not be tested by mistake.
os.environ.pop("PHOTOLAB_BENCH", None)
os.environ.update(STRICT_ENVIRONMENT)
