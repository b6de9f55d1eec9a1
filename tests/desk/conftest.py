"""A desk of its own for the tests, in a home of its own, and a browser in front of it."""

from __future__ import annotations

import http.client
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from tests.writers.conftest import browser, drivers

__all__ = ["browser", "drivers"]
ROOT = Path(__file__).parents[2]
QUICK = {"strands": "8", "wrist": "child-3", "gauge": "macramé cotton 2 mm", "colours": "3"}
"""A band of few knots."""


@dataclass
class Running:
    """A desk that runs: its address as printed, its process, and its home."""

    address: str
    process: subprocess.Popen[str]
    home: Path
    cookie: str = field(default="", init=False)

    @property
    def port(self) -> int:
        return int(re.search(r":(\d+)/", self.address)[1])  # type: ignore[index]

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        headers: Mapping[str, str] | None = None,
        patience: float = 60,
    ) -> tuple[int, dict[str, str], bytes]:
        """One request as the page sends it, unless ``headers`` say otherwise; an empty one is left out."""
        sent = {"Host": f"127.0.0.1:{self.port}", "Cookie": self.cookie} | dict(headers or {})
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=patience)
        try:
            connection.putrequest(method, path, skip_host=True)
            if isinstance(body, dict):
                body = urlencode(body).encode()
            for name, value in sent.items():
                if value:
                    connection.putheader(name, value)
            if body is not None and "Content-Length" not in sent:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body)
            answer = connection.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        finally:
            connection.close()

    def enter(self) -> str:
        """Come in with the token, and return the path of a bench."""
        _, headers, _ = self.ask("GET", self.address.partition(f":{self.port}")[2])
        self.cookie = headers["set-cookie"].partition(";")[0]
        return self.ask("POST", "/another")[1]["location"]

    def stop(self, how: signal.Signals = signal.SIGINT) -> int:
        if self.process.poll() is None:
            self.process.send_signal(how)
        code = self.process.wait(30)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code


def start(home: Path, port: int = 0) -> Running:
    """Start ``hitchgrid desk`` in ``home`` and wait for its line."""
    home.mkdir(exist_ok=True)
    env = {name: value for name, value in os.environ.items() if not name.startswith("XDG_")}
    env |= {"HOME": str(home), "PYTHONPATH": str(ROOT)}
    code = "from cli.main import run; run()"
    with (home / "errors").open("a") as errors:
        process = subprocess.Popen(
            [sys.executable, "-c", code, "desk", "--no-open", "--port", str(port)],
            cwd=home, env=env, text=True, stdout=subprocess.PIPE, stderr=errors,
        )  # fmt: skip
    assert process.stdout is not None
    line = process.stdout.readline()
    found = re.search(r"http://\S+", line)
    assert found is not None, f"no address: {line!r} {(home / 'errors').read_text()}"
    return Running(found[0], process, home)


@pytest.fixture(scope="session")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """One desk for all tests that do it no harm."""
    running = start(tmp_path_factory.mktemp("home"))
    yield running
    assert running.stop() == 0
    assert (running.home / "errors").read_text() == "", "no fault was met"


def until(true: Callable[[], Any], seconds: float = 120.0, said: Callable[[], Any] | None = None) -> Any:
    """What ``true`` returns as soon as it is something."""
    end = time.monotonic() + seconds
    while True:
        found = true()
        if found:
            return found
        assert time.monotonic() < end, f"it did not come about: {said() if said else true}"
        time.sleep(0.1)
