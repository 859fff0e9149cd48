"""Time of the report of the demo bench, from reading the folder to the last file in its place.

Run it as ``python tests/benchmarks/appendix_seconds.py``. Measured with thirteen notebooks in two processes, on two
cores with two other processes at work: 22.5 s on the clock, 24.8 s of processor time in the kernels.
"""

import resource
import sys
import tempfile
from pathlib import Path

from photolab.publication.report.appendix import publish

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"


def main() -> None:
    """Publish the demo once and print clock and processor time."""
    with tempfile.TemporaryDirectory() as out:
        published = publish(DEMO, out)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        sys.stdout.write(
            f"{published.seconds:.1f} s on the clock, {used.ru_utime + used.ru_stime:.1f} s in the kernels\n"
        )


if __name__ == "__main__":
    main()
