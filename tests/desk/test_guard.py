"""Strangers are kept out, and whoever is in cannot stop the desk with large, slow or many requests."""

from __future__ import annotations

import asyncio
import io
import os
import signal
import socket
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from PIL import Image
from starlette.requests import Request

from cli.desk import guard
from cli.desk.serve import listen
from pipeline.errors import InputError
from tests.desk.conftest import ROOT, Running, start, until


def flag(side: int = 40) -> bytes:
    image = Image.new("RGB", (side, side), "#1b2a59")
    image.paste("#f4f1e8", (side // 4, side // 4, side // 2, side // 2))
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def test_listens_on_the_loopback_address_alone() -> None:
    with listen(0) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"


def test_prints_one_line_and_ends_cleanly_on_ctrl_c(tmp_path: Path) -> None:
    running = start(tmp_path / "home")
    assert running.ask("GET", "/")[0] == 403
    running.process.send_signal(signal.SIGINT)
    assert running.process.communicate(timeout=30)[0] == ""
    assert running.process.returncode == 0
    assert (running.home / "errors").read_text() == ""


def test_a_taken_port_is_one_sentence(desk: Running) -> None:
    code = "from cli.main import run; run()"
    again = subprocess.run(
        [sys.executable, "-c", code, "desk", "--no-open", "--port", str(desk.port)],
        cwd=ROOT, env=os.environ | {"HOME": str(desk.home)}, text=True, capture_output=True, check=False,
    )  # fmt: skip
    assert again.returncode == 2
    assert again.stderr.count("\n") == 1 and "--port" in again.stderr


STRANGERS = {
    "no token": ({"Cookie": ""}, 403),
    "wrong token": ({"Cookie": "hitchgrid=guess"}, 403),
    "not ASCII": ({"Cookie": "hitchgrid=\u00e9"}, 403),
    "a name that points here": ({"Host": "harbour.example"}, 421),
    "no host": ({"Host": ""}, 421),
    "another port's page": ({"Origin": "http://127.0.0.1:1"}, 403),
    "another page": ({"Origin": "http://harbour.example"}, 403),
    "a page without origin": ({"Origin": "null"}, 403),
    "a frame of another page": ({"Sec-Fetch-Site": "cross-site"}, 403),
    "another page of this machine": ({"Sec-Fetch-Site": "same-site"}, 403),
}


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize(("headers", "status"), STRANGERS.values(), ids=STRANGERS)
def test_strangers(desk: Running, method: str, headers: dict[str, str], status: int) -> None:
    bench = desk.enter()
    if headers.get("Cookie", "").startswith("hitchgrid="):
        headers = {"Cookie": headers["Cookie"].replace("hitchgrid", f"hitchgrid-{desk.port}")}
    path = bench if method == "GET" else f"{bench}/stop"
    answer, _, text = desk.ask(method, path, headers=headers)
    assert answer in (status, 400)  # HTTP/1.1 without a host is refused before us
    assert b"\n" not in text.strip()
    own = {"Origin": f"http://127.0.0.1:{desk.port}", "Sec-Fetch-Site": "same-origin"}
    assert desk.ask(method, path, headers=own)[0] in (200, 204)


def test_the_token_becomes_a_cookie_that_stays_here(desk: Running) -> None:
    status, headers, _ = desk.ask("GET", desk.address.partition(f":{desk.port}")[2], headers={"Cookie": ""})
    assert (status, headers["location"]) == (303, "/")
    assert "HttpOnly" in headers["set-cookie"] and "SameSite=strict" in headers["set-cookie"]
    assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize(
    "other", ['state={"open":true}', "list[0]=1", "lonely", "quay=\u00e9", "big=" + "x" * 5000]
)
def test_cookies_of_other_programs_of_this_machine_lock_nobody_out(desk: Running, other: str) -> None:
    """A browser sends all cookies of an address, whichever port they came from, however they are written."""
    bench = desk.enter()
    for cookies in (f"{other}; {desk.cookie}", f"{desk.cookie}; {other}"):
        assert desk.ask("GET", bench, headers={"Cookie": cookies})[0] == 200


def test_a_form_that_does_not_arrive_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    async def silence() -> dict[str, object]:
        await asyncio.sleep(60)
        return {}

    monkeypatch.setattr(guard, "PIECE_S", 0.01)
    request = Request({"type": "http", "method": "POST", "headers": []}, silence)
    with pytest.raises(InputError, match="did not arrive"):
        asyncio.run(guard.form_of(request))


def test_every_answer_carries_the_policy(desk: Running) -> None:
    bench = desk.enter()
    for path in ("/", bench, f"{bench}/panel/motif", "/static/desk.js", "/nowhere"):
        policy = desk.ask("GET", path)[1]["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert "http:" not in policy and "https:" not in policy and "*" not in policy


@pytest.mark.parametrize(
    "path",
    [
        "/bench/nothing/panel/motif", "/bench/..%2f..%2f/panel/motif", "{bench}/drawn/bench.json",
        "{bench}/drawn/..%2fbench.json", "{bench}/drawn/band-1.pattern.json", "{bench}/drawn/taken-1.png",
        "{bench}/panel/desk", "/static/../app.py", "/static/%2e%2e/desk.html",
    ],
)  # fmt: skip
def test_only_what_the_page_shows_is_handed_out(desk: Running, path: str) -> None:
    assert desk.ask("GET", path.format(bench=desk.enter()))[0] == 404


@pytest.mark.parametrize("path", ["/shelf/..%2f/archive", "/shelf/x/file/pattern.json", "/shelf/x/left"])
def test_the_shelf_takes_no_names_of_folders(desk: Running, path: str) -> None:
    desk.enter()
    assert desk.ask("GET", path)[0] in (404, 422)


def test_bodies_are_bounded(desk: Running) -> None:
    desk.enter()
    status, _, said = desk.ask("POST", "/drawer/list", b"x" * 1_100_000)
    assert (status, said) == (422, b"that is more than 1 MB. Make it smaller.")
    lying = desk.ask(
        "POST",
        "/drawer/list",
        b"5\r\nabcde\r\n0\r\n\r\n",
        {"Transfer-Encoding": "chunked", "Content-Length": ""},
    )
    assert lying[0] == 422 and b"no column" in lying[2]
    status, _, said = desk.ask("POST", "/drawer", b"name=" + b"n" * 300_000)
    assert status == 422 and b"0.2 MB" in said


def test_a_hundred_uploads_at_once(desk: Running) -> None:
    """All are answered, the page meanwhile too, and the server does not grow by what they hold."""
    bench = desk.enter()
    picture = flag(600)
    heavy = picture + bytes(2_000_000)

    def upload(_: int) -> int:
        return desk.ask("POST", f"{bench}/motif?name=flag.png", heavy)[0]

    before = resident(desk.process.pid)
    with ThreadPoolExecutor(100) as pool:
        answers = [pool.submit(upload, i) for i in range(100)]
        for _ in range(10):
            assert desk.ask("GET", "/static/desk.css")[0] == 200
        assert {answer.result() for answer in answers} <= {204, 422, 503}
    assert resident(desk.process.pid) - before < 120_000
    assert desk.ask("GET", bench)[0] == 200
    assert len(list((desk.home / ".local/state/hitchgrid/desk" / bench[7:]).glob("motif-*"))) == 1
    desk.ask("POST", f"{bench}/stop")


def resident(process: int) -> int:
    """Memory of a process in kB."""
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0])


def test_half_requests_are_hung_up_on(monkeypatch: pytest.MonkeyPatch) -> None:
    import uvicorn
    from starlette.responses import PlainTextResponse

    monkeypatch.setattr(guard, "HEAD_S", 0.3)
    config = uvicorn.Config(
        PlainTextResponse("here"), http=guard.Patient, ws="none", lifespan="off", log_config=None
    )
    server = uvicorn.Server(config)
    with listen(0) as listening:
        port = listening.getsockname()[1]
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        until(lambda: server.started)
        silent = [socket.create_connection(("127.0.0.1", port)) for _ in range(50)]
        for half in silent[::2]:
            half.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
        kept = socket.create_connection(("127.0.0.1", port))
        kept.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert b"200 OK" in kept.recv(1000)
        for one in silent:
            one.settimeout(10)
            assert hung_up(one)
        kept.close()
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive()


def hung_up(connection: socket.socket) -> bool:
    try:
        return connection.recv(10) == b""
    except ConnectionError:
        return True
    finally:
        connection.close()
