"""A kernel process that runs notebooks one after the other and is emptied before each.

Starting a kernel and importing the libraries takes longer than most notebooks do. Nothing of one notebook is left
to the next but the imported modules.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

__all__ = ["KERNEL_ENVIRONMENT", "Kernel"]

#: What every kernel is started with: a warning stops the cell, and one thread keeps sums in one order. The
#: exception is a notice of the kernel to itself, which would stop it from ending in good order.
KERNEL_ENVIRONMENT = {
    "PYTHONWARNINGS": "error,ignore::PendingDeprecationWarning:ipykernel.kernelbase",
    "OMP_NUM_THREADS": "1",
}
_START_S = 120
_ATTEMPTS = 3


class Kernel:
    """A kernel process, to be used in a ``with`` block by one thread.

    Parameters
    ----------
    folder : Path
        Where it starts.
    environment : mapping, optional
        More environment variables, beside `KERNEL_ENVIRONMENT`; ``PHOTOLAB_BENCH`` is not handed on by itself.
    """

    def __init__(self, folder: Path, environment: Mapping[str, str] | None = None) -> None:
        inherited = {key: value for key, value in os.environ.items() if key != "PHOTOLAB_BENCH"}
        self._environment = inherited | KERNEL_ENVIRONMENT | dict(environment or {})
        self._folder = folder
        self._runner = asyncio.Runner()
        self._manager: Any = None

    def __enter__(self) -> Kernel:
        try:
            self._runner.run(self._start())
        except BaseException:
            self._runner.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self._manager is not None:
                self._runner.run(self._manager.shutdown_kernel(now=kind is not None))
        finally:
            self._runner.close()

    def execute(self, notebook: Any, folder: Path, *, timeout_s: float) -> None:
        """Run all cells of a notebook; its outputs are put into it.

        Parameters
        ----------
        notebook : nbformat.NotebookNode
            The notebook.
        folder : Path
            Working folder for it.
        timeout_s : float
            Longest time for one cell. [s]
        """
        self._runner.run(self._execute(notebook, folder, timeout_s))

    async def _start(self) -> None:
        """Start the process; again if another program took one of its ports in the meantime."""
        for attempt in range(_ATTEMPTS):
            self._manager = await self._launch()
            channels = self._manager.client()
            channels.start_channels()
            try:
                await channels.wait_for_ready(timeout=_START_S)
            except RuntimeError:
                await self._manager.shutdown_kernel(now=True)
                self._manager = None
                if attempt == _ATTEMPTS - 1:
                    raise
            else:
                return
            finally:
                channels.stop_channels()

    async def _launch(self) -> Any:
        """Launch one process and return its manager."""
        from jupyter_client import AsyncKernelManager

        manager = AsyncKernelManager(kernel_name="python3")
        if hasattr(manager, "transport_encryption"):  # newer clients print a notice without it
            manager.transport_encryption = "auto"
        await manager.start_kernel(
            cwd=str(self._folder),
            env=self._environment,
            extra_arguments=["--HistoryManager.enabled=False"],
        )
        return manager

    async def _execute(self, notebook: Any, folder: Path, timeout_s: float) -> None:
        """Empty the kernel, then run the notebook in it."""
        from nbclient import NotebookClient

        channels = self._manager.client()
        channels.start_channels()
        try:
            await channels.wait_for_ready(timeout=_START_S)
            empty = f"get_ipython().reset(new_session=True)\n__import__('os').chdir({str(folder)!r})"
            await channels.execute_interactive(empty, store_history=False, timeout=_START_S)
            client = NotebookClient(
                notebook, km=self._manager, timeout=timeout_s, record_timing=False, coalesce_streams=True
            )
            client.kc = channels
            await client.async_execute()
        finally:
            channels.stop_channels()
