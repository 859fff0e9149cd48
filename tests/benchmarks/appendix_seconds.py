"""Time of the report of the demo bench, from reading the folder to the last file in its place.

Run it as ``python tests/benchmarks/appendix_seconds.py``. Measured with eleven notebooks on two cores: 21 s of processor
time in the kernels; 28 s on the clock while five other processes were waiting for the same two cores.
"""

import resource
import sys
import tempfile
from pathlib import Path

from photolab.publication.appendix import publish

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
