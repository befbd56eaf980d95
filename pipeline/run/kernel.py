"""The kernel in which notebooks are executed: always this interpreter, whatever kernels the machine lists."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from jupyter_client import AsyncKernelManager
from jupyter_client.kernelspec import KernelSpec, KernelSpecManager

from pipeline.bootstrap import PROJECT, settled

_LONGEST_SOCKET_PATH = 90  # of a socket file's 104 bytes or more, less what the ports add


class _ThisInterpreter(KernelSpecManager):
    """Knows one kernel under every name: a notebook saved with a foreign kernel name runs all the same."""

    def get_kernel_spec(self, kernel_name):
        arguments = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}", "--log-level=50"]
        return KernelSpec(argv=arguments, display_name="Python 3", language="python")


class KernelHere(AsyncKernelManager):
    """Starts this interpreter, over socket files where they can be had: no ports to collide, nothing open to the network."""

    environment: dict[str, str] = {}

    def __init__(self, **options):
        self._folder = tempfile.TemporaryDirectory(prefix="fixledger-")  # gone at the latest when this process ends
        connection_file = str(Path(self._folder.name) / "kernel.json")
        by_files = sys.platform != "win32" and len(connection_file) < _LONGEST_SOCKET_PATH
        options |= {"kernel_spec_manager": _ThisInterpreter(), "connection_file": connection_file,
                    "transport": "ipc" if by_files else "tcp"}
        super().__init__(**options)

    async def _async_start_kernel(self, **options):
        await super()._async_start_kernel(**options | {"env": self.environment or kernel_environment()})

    start_kernel = _async_start_kernel

    async def _async_cleanup_resources(self, restart: bool = False):
        await super()._async_cleanup_resources(restart=restart)
        if not restart:
            self._folder.cleanup()

    cleanup_resources = _async_cleanup_resources


def kernel_environment(**more: str) -> dict[str, str]:
    """Environment variables for a kernel: settled ones, with the project importable from any folder."""
    environment = settled(os.environ)
    earlier = environment.get("PYTHONPATH")
    environment["PYTHONPATH"] = os.pathsep.join([str(PROJECT), *([earlier] if earlier else [])])
    return environment | more


def kernel_with(environment: dict[str, str]) -> type[KernelHere]:
    """A kernel class whose kernels have these environment variables; papermill takes a class, not an instance."""
    return type("KernelHereWith", (KernelHere,), {"environment": environment})
