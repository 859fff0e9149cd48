"""The real `photolab take` in a pseudo-terminal, on a clock that runs faster and that a test can put on."""

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time

FAST = """
import sys, time
from datetime import datetime, timedelta
from pathlib import Path
from photolab.cli import main
from photolab.publication.commands import take_screen
began, start, put_on = time.time(), datetime.fromisoformat(sys.argv[2]), Path(sys.argv[4])
def now():
    later = float(put_on.read_text()) if put_on.exists() else 0.0
    return start + timedelta(seconds=later + float(sys.argv[3]) * (time.time() - began))
take_screen.now = now
take_screen.TICK_S = 0.02
sys.exit(main(["take", sys.argv[1]]))
"""


def fast_take(folder, start, speed):
    """Return the command line of take on a clock that starts then and runs so many times faster."""
    clock = folder.with_suffix(".clock")
    return [sys.executable, "-c", FAST, str(folder), start.isoformat(), str(speed), str(clock)]


class Terminal:
    """The command, what is typed into it and what stands on its screen."""

    def __init__(self, folder, start, speed=0.0):
        self.start, self.clock = start, folder.with_suffix(".clock")
        self.clock.unlink(missing_ok=True)
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 26, 80, 0, 0))
        told = {**os.environ, "TERM": "xterm", "PYTHONIOENCODING": "utf-8"}
        command = fast_take(folder, start, speed)
        self.process = subprocess.Popen(
            command, stdin=slave, stdout=slave, stderr=slave, env=told, close_fds=True
        )
        os.close(slave)
        self.seen = ""

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.kill()
        os.close(self.master)

    def kill(self):
        """End it as a power cut does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def until(self, words, seconds=60.0):
        """Wait until words stand on the screen since the last time, and return what stood before them."""
        end = time.monotonic() + seconds
        while words not in self.seen:
            assert time.monotonic() < end, f"{words!r} is not in {self.seen[-2000:]!r}"
            if select.select([self.master], [], [], 0.1)[0]:
                with contextlib.suppress(OSError):
                    self.seen += os.read(self.master, 65536).decode("utf-8", "replace")
        before, _, self.seen = self.seen.partition(words)
        return before

    def type(self, line):
        """Type a line."""
        os.write(self.master, f"{line}\n".encode())

    def screen(self):
        """Return the rows of the next screen that follows a line: title first, what is asked last."""
        self.until("\x1b[2J")
        rows = re.sub(r"\x1b\[[0-9;]*[mK]", "", self.until("> \x1b[K"))
        return [row for row in re.split(r"\x1b\[[0-9]+;1H", rows) if row]

    def enter(self, line):
        """Type a line and return the screen that answers."""
        self.type(line)
        return self.screen()

    def put_on(self, moment):
        """Put the clock on to a moment; what it ran by itself comes on top."""
        beside = self.clock.with_suffix(".part")
        beside.write_text(str((moment - self.start).total_seconds()))
        beside.replace(self.clock)
