"""A studio of its own for a test: the command in a process, and a client that has been let in."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx

__all__ = ["StudioServer"]


class StudioServer:
    """`partwright studio` over a folder of lessons. Ended, whatever happens, when the block ends."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.folder = folder
        self.arguments = arguments
        self.process: subprocess.Popen[str] | None = None
        self.address = ""

    def __enter__(self) -> StudioServer:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "partwright", "studio", *self.arguments, "--no-browser", "--port", "0"],
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ},
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        assert self.address.startswith("http://127.0.0.1:"), self.error_output()
        return self

    def __exit__(self, *_: object) -> None:
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(timeout=15)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        for stream in (self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()

    @property
    def base(self) -> str:
        return self.address.partition("/enter/")[0]

    @property
    def token(self) -> str:
        return self.address.partition("/enter/")[2]

    @property
    def port(self) -> int:
        return int(self.base.rpartition(":")[2])

    def kill(self) -> None:
        """As a power cut would: no goodbye."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def error_output(self) -> str:
        """What the server said on standard error until it ended; only when it has ended."""
        assert self.process is not None
        assert self.process.stderr is not None
        self.process.kill()
        return self.process.stderr.read()

    def client(self, **settings: Any) -> httpx.Client:
        """A browser that has been let in."""
        return httpx.Client(
            base_url=self.base,
            headers={"Origin": self.base},
            cookies={"partwright": self.token},
            timeout=settings.pop("timeout", 120),
            **settings,
        )
