"""A kernel process that runs notebooks one after the other and is emptied before each.

Starting a kernel and importing the libraries takes longer than most notebooks do. Nothing of one notebook is left
to the next but the imported modules.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import tempfile
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from typing import Any

from photolab.errors import MethodError, NotInFolder

#: What every kernel is started with: one thread keeps sums in one order.
KERNEL_ENVIRONMENT = {"OMP_NUM_THREADS": "1"}
#: What the committed notebooks are run with, and the tests: a warning stops the cell. The exceptions are notices of
#: the kernel to itself, of which the first would stop it from ending in good order, the second, on Python 3.12 and
#: later, from starting.
STRICT_ENVIRONMENT = KERNEL_ENVIRONMENT | {
    "PYTHONWARNINGS": "error,ignore::PendingDeprecationWarning:ipykernel.kernelbase,"
    "ignore:There is no current event loop:DeprecationWarning"
}
_START_S = 120
_ATTEMPTS = 3
_LOOK_S = 0.1


class Kernel:
    """A kernel process, to be used in an ``async with`` block.

    Parameters
    ----------
    folder : Path
        Where it starts.
    environment : mapping, optional
        More environment variables, beside `KERNEL_ENVIRONMENT`; ``PHOTOLAB_BENCH`` is not handed on by itself.

    Attributes
    ----------
    noise : str
        What the process wrote to its own stderr, outside the cells, before it was ended.
    """

    def __init__(self, folder: Path, environment: Mapping[str, str] | None = None) -> None:
        inherited = {key: value for key, value in os.environ.items() if key != "PHOTOLAB_BENCH"}
        self._environment = inherited | KERNEL_ENVIRONMENT | dict(environment or {})
        self._folder = folder
        self._manager: Any = None
        self._stderr: Any = None
        self.noise = ""

    async def __aenter__(self) -> Kernel:
        self._stderr = tempfile.TemporaryFile()  # noqa: SIM115 - closed when the process has ended
        try:
            await self._start()
        except BaseException:
            await self._end(now=True)
            raise
        return self

    async def __aexit__(self, kind: object, *_: object) -> None:
        await self._end(now=kind is not None)

    async def execute(self, notebook: Any, folder: Path, *, timeout_s: float) -> None:
        """Run all cells of a notebook; its outputs are put into it.

        Parameters
        ----------
        notebook : nbformat.NotebookNode
            The notebook.
        folder : Path
            Working folder for it.
        timeout_s : float
            Longest time for one cell. [s]

        Raises
        ------
        NotInFolder
            If the notebook stops because nothing in the folder feeds it.
        MethodError
            If a cell stops, takes too long or ends the process; ``known["cell"]`` is its place in the notebook,
            counted from 1, or 0 before the first cell. The code says whether the process had ended by then.
        """
        from nbclient.exceptions import DeadKernelError

        place = [0]
        work = asyncio.ensure_future(self._execute(notebook, folder, timeout_s, place))
        death = asyncio.ensure_future(self._death())
        try:
            await asyncio.wait({work, death}, return_when=asyncio.FIRST_COMPLETED)
            reason = death.result() if death.done() else work.result()
        except DeadKernelError:
            reason = await death
        finally:
            work.cancel()
            death.cancel()
            await asyncio.gather(work, death, return_exceptions=True)
        if reason:
            code = "notebook_stopped" if place[0] else "kernel_ended_before"
            raise MethodError(reason, code=code, known={"cell": place[0]})

    async def _start(self) -> None:
        """Start the process; again if another program took one of its ports in the meantime."""
        for attempt in range(1, _ATTEMPTS + 1):
            await self._launch()
            try:
                async with self._channels():
                    return
            except RuntimeError as error:
                await self._manager.shutdown_kernel(now=True)
                if attempt == _ATTEMPTS:
                    message = f"no kernel could be started: {(self._said() or str(error)).splitlines()[-1]}"
                    raise MethodError(message, code="no_kernel", known={"cell": 0}) from error

    @contextlib.asynccontextmanager
    async def _channels(self) -> AsyncIterator[Any]:
        """Yield a client of the process that is ready."""
        channels = self._manager.client()
        channels.start_channels()
        try:
            await channels.wait_for_ready(timeout=_START_S)
            yield channels
        finally:
            channels.stop_channels()

    async def _launch(self) -> None:
        """Launch one process."""
        from jupyter_client import AsyncKernelManager

        self._manager = AsyncKernelManager(kernel_name="python3")
        if hasattr(self._manager, "transport_encryption"):  # newer clients print a notice without it
            self._manager.transport_encryption = "auto"
        how = {"cwd": str(self._folder), "env": self._environment, "stderr": self._stderr}
        await self._manager.start_kernel(extra_arguments=["--HistoryManager.enabled=False"], **how)

    async def _end(self, *, now: bool) -> None:
        """Keep what the process said, and end it; what it says of its own end concerns nobody."""
        try:
            self.noise = self._said()
            if self._manager is not None:
                await self._manager.shutdown_kernel(now=now)
        finally:
            self._stderr.close()

    def _said(self) -> str:
        """Return what the process has written to its own stderr."""
        self._stderr.seek(0)
        return str(self._stderr.read(), "utf-8", "replace").strip()

    async def _execute(self, notebook: Any, folder: Path, timeout_s: float, place: list[int]) -> str:
        """Empty the kernel, then run the notebook in it, its place the cell that runs; return why it stopped."""
        from nbclient import NotebookClient
        from nbclient.exceptions import CellExecutionError

        how = {"timeout": timeout_s, "record_timing": False, "coalesce_streams": True}
        empty = f"get_ipython().reset(new_session=True)\n__import__('os').chdir({str(folder)!r})"
        try:
            async with self._channels() as channels:
                await channels.execute_interactive(empty, store_history=False, timeout=_START_S)
                client = NotebookClient(notebook, km=self._manager, **how)
                client.kc = channels
                # cell by cell: the client's own loop would take the handler of Ctrl-C for itself
                for index, cell in enumerate(notebook.cells):
                    if "interactive" in cell.metadata.get("tags", []):
                        continue  # for hands, and messages of its widgets would meet the next notebook's client
                    place[0] = index + 1
                    count = client.code_cells_executed + 1
                    await client.async_execute_cell(cell, index, execution_count=count)
        except CellExecutionError as error:
            if error.ename == NotInFolder.__name__:
                raise NotInFolder(error.evalue, code="not_in_folder", known={"cell": place[0]}) from None
            return f"{error.ename}: {error.evalue}"
        except TimeoutError as error:
            return str(error).split("\n", 1)[0]
        return ""

    async def _death(self) -> str:
        """Wait until the process has ended by itself, and return the words for it."""
        while (status := await self._manager.provisioner.poll()) is None:
            await asyncio.sleep(_LOOK_S)
        how = f"by signal {-status}" if status < 0 else f"with status {status}"
        why = "; memory may have run out" if status == -9 else ""
        return f"its Python process ended {how} before the notebook did{why}"
