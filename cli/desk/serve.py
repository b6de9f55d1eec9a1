"""Starting and ending the desk: one socket on the loopback address, one event loop, and the crew."""

from __future__ import annotations

import os
import socket
import threading
import webbrowser
from contextlib import suppress
from pathlib import Path

import platformdirs
import uvicorn

from cli.desk.app import Desk
from cli.desk.bench import Benches
from cli.desk.crew import Crew
from cli.desk.drawer import Threads
from cli.desk.guard import Gate, Patient
from cli.desk.work import Work
from pipeline.errors import InputError

CONNECTIONS = 400
"""Connections beyond which a request is told to come back later."""
GOODBYE_S = 2


def serve(port: int, stash: Path | None, output: Path, *, open_page: bool) -> None:
    """Serve the desk until Ctrl-C. Raises InputError for a port that is taken."""
    listening = listen(port)
    port = listening.getsockname()[1]
    benches = Benches(platformdirs.user_state_path("hitchgrid") / "desk")
    threads = Threads((stash or platformdirs.user_data_path("hitchgrid") / "drawer.csv").absolute())
    threads.stash()  # a list that cannot be read is said now
    crew = Crew(os.cpu_count() or 1)
    crew.warm()
    server: uvicorn.Server
    desk = Desk(benches, threads, Work(crew, threads.path, output.absolute()), lambda: server.should_exit)
    gate = Gate(desk.app(), port)
    server = uvicorn.Server(
        uvicorn.Config(
            gate,
            http=Patient,
            ws="none",
            lifespan="off",
            log_config=None,
            log_level="error",
            access_log=False,
            server_header=False,
            limit_concurrency=CONNECTIONS,
            timeout_graceful_shutdown=GOODBYE_S,
        )
    )
    print(f"The desk is open, Ctrl-C closes it: {gate.address}", flush=True)
    if open_page:
        threading.Thread(target=webbrowser.open, args=(gate.address,), daemon=True).start()
    with suppress(KeyboardInterrupt):  # how the server passes on the Ctrl-C that ended it
        server.run(sockets=[listening])


def listen(port: int) -> socket.socket:
    """A socket on the loopback address. Raises InputError for a port that is taken."""
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
    except OSError as error:
        hint = "Choose another --port, or none for any that is free."
        raise InputError(f"cannot listen on port {port}: {error.strerror}.", hint) from None
    listening.listen(128)
    return listening
