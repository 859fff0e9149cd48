"""The terminal of `photolab take`: a dark screen with large plain figures, plain lines where there is no terminal.

The line that is typed is the terminal's own, so nothing has to be put right when a run is killed.
"""

import os
import queue
import shutil
import sys
import textwrap
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TextIO

from photolab.metrology.arguments import must_hold
from photolab.publication.commands.take_dialogue import Take, View
from photolab.publication.report.report_folder import held

TICK_S = 0.25
"""The screen is drawn anew so often. [s]"""
BUSY = "another take is running on this folder; end it there with stop."
HELP = "figures, Enter   undo  skip  note …  swap  keep  stop"
GLYPHS = {
    "0": "75557", "1": "26227", "2": "71747", "3": "71717", "4": "55711", "5": "74717",
    "6": "74757", "7": "71111", "8": "75757", "9": "75717", ":": "02020",
}  # fmt: skip
"""Five rows of three squares for each figure, a row an octal digit."""
DARK, BRIGHT, DIM = "\x1b[0;37;40m", "\x1b[1;97;40m", "\x1b[0;90;40m"


def now() -> datetime:
    """Return the time of day with its zone."""
    return datetime.now().astimezone()


def large(text: str) -> list[str]:
    """Return figures five rows high.

    Parameters
    ----------
    text : str
        Digits and colons.

    Returns
    -------
    list of str
        Rows.
    """
    rows = ("  ".join(f"{int(GLYPHS[c][row]):03b}" for c in text) for row in range(5))
    return [row.replace("1", "##").replace("0", "  ").rstrip() for row in rows]


def painted(view: View, size: os.terminal_size) -> Iterator[str]:
    """Yield the rows of a screen, top down; the last is where typing goes on.

    Parameters
    ----------
    view : View
        What it shows.
    size : os.terminal_size
        Columns and rows of the terminal.

    Yields
    ------
    str
        Rows with their colours.
    """
    figures = large(view.big) if view.big and size.lines >= 18 else [view.big] if view.big else []
    block = "█" if "utf" in (sys.stdout.encoding or "").lower() else "#"
    rows = [(BRIGHT, view.title), (DARK, "")]
    rows += [(BRIGHT, row.replace("#", block)) for row in figures] + [(DARK, "")]
    rows += [(DARK, line) for line in view.lines] + [(DARK, ""), (BRIGHT, view.said), (DARK, "")]
    rows += [(DIM, HELP), (BRIGHT, view.prompt)]
    columns = size.columns - 1  # what fits, rows of large figures too, is as it is
    parts = ((c, textwrap.wrap(text, columns) if len(text) > columns else [text]) for c, text in rows)
    wide = [(colour, part) for colour, found in parts for part in found]
    if len(wide) > size.lines - 2:
        wide = [(colour, part) for colour, part in wide if part]
    for colour, text in wide[-(size.lines - 2) :]:
        yield f"{colour}{text}\x1b[K"


class Screen:
    """Draws a view on a terminal, or says what changed on plain lines.

    Parameters
    ----------
    out : text stream
        Where to.
    """

    def __init__(self, out: TextIO) -> None:
        self.out = out
        self.terminal = out.isatty() and sys.stdin.isatty() and os.environ.get("TERM", "dumb") != "dumb"
        self.last: tuple[str, ...] = ()

    def show(self, view: View, *, beep: bool, entered: bool) -> None:
        """Show a view.

        Parameters
        ----------
        view : View
            What to show.
        beep : bool
            Whether a mark was reached.
        entered : bool
            Whether a line was typed since.
        """
        if self.terminal:
            rows = tuple(painted(view, shutil.get_terminal_size()))
            text = "".join(f"\x1b[{n};1H{row}" for n, row in enumerate(rows, start=1))
            if entered or len(rows) != len(self.last):  # what was typed goes with the old screen
                text = f"{DARK}\x1b[2J{text}{BRIGHT}\x1b[{len(rows) + 1};1H> \x1b[K"
            else:
                text = f"\x1b7{text}\x1b8"
        else:
            rows = (view.title, *view.lines, view.said, view.prompt)
            known = {*self.last} - {view.said, view.prompt} | {""}
            new = [line for line in rows if line not in known]
            text = "\n".join(new) + "\n" if rows != self.last else ""
        self.last = rows
        self.out.write("\a" * beep + text)
        self.out.flush()

    def leave(self) -> None:
        """Give the terminal back."""
        if self.terminal:
            self.out.write("\x1b[0m\x1b[2J\x1b[H")
            self.out.flush()


def run(folder: Path) -> str:
    """Hold the conversation of a test day until it is stopped.

    Parameters
    ----------
    folder : Path
        The bench folder.

    Returns
    -------
    str
        What to say when it has ended.

    Raises
    ------
    RecordError
        If the folder has faults.
    MethodError
        If another run holds the folder, or its files cannot take rows.
    """
    must_hold(folder.is_dir(), f"{folder.name}: no such folder; photolab new writes one.", code="no_folder")
    with held(folder, busy=BUSY):
        take = Take(folder, now)
        screen = Screen(sys.stdout)
        lines: queue.Queue[tuple[str, datetime] | None] = queue.Queue()
        threading.Thread(target=_typed, args=(lines,), daemon=True).start()
        before, entered = now(), True
        try:
            while not take.ended:
                at = now()
                screen.show(take.view(at), beep=take.mark_reached(before, at), entered=entered)
                before, entered = at, False
                try:
                    line = lines.get(timeout=TICK_S)
                except queue.Empty:
                    continue
                if line is None:
                    break
                take.enter(*line)
                entered = True
        finally:
            screen.leave()
        words = f"{take.journal.path.name} keeps the day."
        if (left := take.day.open) is None:
            return words
        return f"{words} {left.head['lamp']} is not finished: the same line goes on with it."


def _typed(lines: queue.Queue[tuple[str, datetime] | None]) -> None:
    """Put every line that is typed into a queue, with the moment of its Enter; None at the end."""
    try:
        for line in sys.stdin:
            lines.put((line, now()))
    finally:
        lines.put(None)
