"""The page's server from outside, without a browser: who gets in, what may come in, and that it comes back."""

import contextlib
import io
import json
import multiprocessing
import os
import socket
import time

import httpx
import numpy as np
import pytest
import soundfile
from commands.command_line import call
from page.page_work import count, end_hard, parent_of_task, refuse, sleep_long
from PIL import Image
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from bracedtop.scripts.bench import chosen_listener
from bracedtop.scripts.page.tasks import Tasks


def wav(n: int = 2000, rate: int = 44_100) -> bytes:
    stream = io.BytesIO()
    soundfile.write(stream, np.zeros(n), rate, format="WAV", subtype="PCM_16")
    return stream.getvalue()


def talk(address: str, **options: object):
    origin = address.split("/", 3)[0] + "//" + address.split("/")[2]
    return connect(address.replace("http", "ws") + "live", **{"origin": origin, "max_size": None, **options})


def answer(link, **message: object) -> dict:
    link.send(json.dumps({"number": 1, "message": message}))
    while True:
        heard = json.loads(link.recv(timeout=10))
        if heard.get("answer") == 1:
            return heard


def test_strangers_stay_outside_and_files_inside(bench, small):
    own = bench.address.rstrip("/").rsplit("/", 1)[0]
    (small / "taps").mkdir()
    (small / "taps" / "one.wav").write_bytes(wav())
    (small / "page.html").write_text("<script>alert(1)</script>")
    (small.parent / "secret.csv").write_text("secret")
    (small / "link.csv").symlink_to(small.parent / "secret.csv")
    with httpx.Client() as client:
        answer = client.get(bench.address)
        assert answer.status_code == 200
        assert "unsafe" not in answer.headers["content-security-policy"]
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "server" not in answer.headers
        assert client.get(f"{own}/").status_code == 404
        assert client.get(f"{own}/{'x' * 32}/").status_code == 404
        assert client.get(bench.address, headers={"host": "evil.example"}).status_code == 400
        assert client.post(f"{bench.address}upload/taps/a.wav", content=wav()).status_code == 403
        evil = {"origin": "http://evil.example"}
        assert client.post(f"{bench.address}upload/taps/a.wav", content=wav(), headers=evil).status_code == 403
        assert client.get(f"{bench.address}case/taps/one.wav").content == wav()
        assert client.get(f"{bench.address}case/top.toml").status_code == 200
        for path in ("page.html", "link.csv", ".bracedtop/page.json", "%2e%2e/secret.csv", "..%2fsecret.csv",
                     "%2fetc/passwd", "/etc/passwd", "taps", "taps/", "", "none.wav", "a%00.wav"):  # fmt: skip
            assert client.get(f"{bench.address}case/{path}").status_code == 404, path
        for path in ("%2e%2e/app.py", "..%2fapp.py", "%2fetc%2fpasswd"):
            assert client.get(f"{bench.address}static/{path}").status_code == 404, path


def test_only_the_page_itself_gets_a_connection(bench):
    for origin in ("http://evil.example", None, "null"):
        with pytest.raises(InvalidStatus, match="403"), talk(bench.address, origin=origin):
            pass
    with talk(bench.address) as link:
        assert json.loads(link.recv(timeout=10))["event"] == "hello"


def test_uploads_are_known_by_their_content(bench, small):
    origin = {"origin": "http://" + bench.address.split("/")[2]}
    picture = io.BytesIO()
    Image.new("RGB", (8, 6)).save(picture, format="JPEG")
    with httpx.Client(headers=origin, timeout=20) as client:

        def send(path: str, content: bytes) -> tuple[int, str]:
            found = client.post(f"{bench.address}upload/{path}", content=content)
            return found.status_code, found.text

        assert send("photographs/inside.png", picture.getvalue()) == (200, '{"file":"photographs/inside.jpg"}')
        assert send("photographs/inside.jpg", picture.getvalue()) == (200, '{"file":"photographs/inside 2.jpg"}')
        code, words = send("photographs/x.jpg", wav())
        assert (code, "PNG or JPEG" in words) == (422, True)
        assert send("none/x.jpg", wav())[0] == 404
        assert send("photographs/..%2f..%2fx.jpg", picture.getvalue())[0] == 404
        assert send("photographs/large.jpg", b"\xff\xd8" + bytes(25_000_001))[0] == 413

        def endless():
            for _ in range(40):
                yield bytes(1_000_000)

        # Refused before all was sent, which a client may see as a broken connection.
        with contextlib.suppress(httpx.WriteError, httpx.ReadError):
            assert client.post(f"{bench.address}upload/photographs/x.jpg", content=endless()).status_code == 413
    assert sorted(path.name for path in (small / "photographs").iterdir()) == ["inside 2.jpg", "inside.jpg"]


def test_odd_messages_get_one_sentence(bench):
    with talk(bench.address) as link:
        link.recv(timeout=10)
        for message in ("", "[]", "5", "{", '{"ask": NaN}', "[" * 100_000, "null"):
            link.send(message)
        assert "cannot be asked" in answer(link, ask="nonsense")["error"]
        assert "could not answer" in answer(link, ask="change")["error"]
        known = {"id": "1", "seen": 0, "page": "A"}
        assert "page keeps" in answer(link, ask="change", keys=["x"], values=[1], **known)["error"]
        assert answer(link, ask="change", keys=["units"], values=["in"], **known)["result"]["answer"] == "kept"


def test_killed_and_started_again_it_is_where_it_was(serve, small):
    server = serve(small)
    address = server.address
    with talk(address) as link:
        answer(link, ask="change", id="1", seen=1, page="A", keys=["units"], values=["in"])
        server.kill()
    with (small / ".bracedtop" / "page.jsonl").open("ab") as stream:
        stream.write(b'{"id": "torn')
    server.start()
    assert server.address == address
    with talk(address) as link:
        state = json.loads(link.recv(timeout=10))["state"]
        assert state["values"] == {"units": "in"}
        assert (
            answer(link, ask="change", id="1", seen=1, page="A", keys=["units"], values=["in"])["result"]["answer"]
            == "known"
        )
        assert answer(link, ask="undo", id=state["undo"]["id"], page="A")["result"]["answer"] == "kept"


def test_a_case_has_one_bench_and_ctrl_c_ends_it(serve, small):
    server = serve(small)
    assert server.address in call("bench", small, "--no-browser").complaint
    with talk(server.address) as link:
        link.recv(timeout=10)
        errors = server.stop()
    assert server.process.returncode == 0
    assert errors.strip() == "bracedtop: closed; everything is kept"


def test_complaints_are_one_line(small, tmp_path):
    assert "no such folder" in call("bench", tmp_path / "none", "--no-browser").complaint
    assert "is not a port" in call("bench", small, "--port", "80").complaint
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert f"--port {port}: is taken" in call("bench", small, "--no-browser", "--port", port).complaint
    (small / "top.toml").write_text("name = ")
    assert "top.toml" in call("bench", small, "--no-browser").complaint


def test_a_taken_port_of_before_is_said():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        listener, words = chosen_listener(None, port)
        with listener:
            assert listener.getsockname()[1] != port
        assert f"port {port} is taken" in words


# Tasks


def settled(tasks: Tasks, timeout: float = 30.0) -> None:
    end = time.monotonic() + timeout
    while tasks.unfinished() and time.monotonic() < end:
        time.sleep(0.02)
    assert not tasks.unfinished()


def test_tasks_tell_how_far_they_are_and_how_they_ended():
    told: list[tuple[str, str, str]] = []
    tasks = Tasks(lambda task: told.append((task.name, task.state, task.stage)), at_once=2)
    tasks.start("count", "Counting", 7, count, 3)
    refused = tasks.start("refuse", "Refusing", 7, refuse)
    ended = tasks.start("end", "Ending", 7, end_hard)
    settled(tasks)
    assert [stage for name, state, stage in told if name == "count" and state == "running"] == [
        "",
        "step 0",
        "step 1",
        "step 2",
    ]
    found = tasks.finished("count")
    assert found.result[0] == 3
    assert found.result[1] in (None, os.nice(0) + 10)
    assert found.revision == 7
    assert (refused.state, refused.error) == ("failed", "top.toml: no such wood")
    assert (ended.state, ended.error[:16]) == ("failed", "the work stopped")
    assert ("end", "waiting", "") in told


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_a_cancelled_task_ends_and_a_newer_one_takes_its_place(tmp_path):
    tasks = Tasks(lambda task: None, at_once=1)
    first = tasks.start("solve", "Solving", 1, sleep_long, tmp_path / "pid")
    end = time.monotonic() + 20
    while not first.stage and time.monotonic() < end:
        time.sleep(0.02)
    second = tasks.start("solve", "Solving", 2, count, 1)
    settled(tasks)
    assert first.state == "cancelled"
    assert second.state == "done"
    first.process.join(5)
    assert not alive(int((tmp_path / "pid").read_text()))
    tasks.close()


def test_tasks_end_with_a_killed_server(tmp_path):
    context = multiprocessing.get_context("spawn")
    parent = context.Process(target=parent_of_task, args=(tmp_path / "pid",))
    parent.start()
    end = time.monotonic() + 30
    while not (tmp_path / "pid").exists() and time.monotonic() < end:
        time.sleep(0.05)
    time.sleep(0.1)
    pid = int((tmp_path / "pid").read_text())
    parent.kill()
    parent.join()
    end = time.monotonic() + 5
    while alive(pid) and time.monotonic() < end:
        time.sleep(0.05)
    assert not alive(pid)
