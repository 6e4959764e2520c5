"""The studio's server against who means it no good: no 5xx, no file outside the lesson, no look at the inside.

Sources of the attacks: DNS rebinding and cross-site requests (RFC 9110 7.2, Fetch standard), path traversal and links
(CWE-22, CWE-59), slow requests (CWE-400), lying uploads (CWE-434), markup in data (CWE-79).
"""

from __future__ import annotations

import asyncio
import json
import os
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from made_tunes import small_tune, write_lesson_folder
from partwright.lesson import write_demo
from studio_server import StudioServer

L = "/api/lessons/weir"
SECRET = "kept outside the lesson"
EVIL = "<script>alert(1)</script>\"'&<img src=x onerror=alert(2)>"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StudioServer]:
    folder = tmp_path_factory.mktemp("hostile")
    home = folder / "lessons"
    home.mkdir()
    write_demo(home / "weir")
    (folder / "secret.txt").write_text(SECRET)
    (home / "weir" / "build").mkdir()
    (home / "weir" / "build" / "leak.txt").symlink_to(folder / "secret.txt")
    (home / "weir" / "build" / "out").symlink_to(folder)
    (home / "weir" / "takes" / "leak.vtt").symlink_to(folder / "secret.txt")
    (home / "linked").symlink_to(home / "weir")
    with StudioServer(home) as running:
        yield running
        assert alive(running)


@pytest.fixture
def client(server: StudioServer) -> Iterator[httpx.Client]:
    with server.client() as client:
        yield client


def alive(server: StudioServer) -> bool:
    with server.client() as client:
        return client.get("/api/studio").status_code == 200


def looks_clean(answer: httpx.Response) -> None:
    assert answer.status_code < 500, answer.text
    assert "Traceback" not in answer.text
    assert "site-packages" not in answer.text
    assert SECRET not in answer.text


def raw(server: StudioServer, request: bytes, *, seconds: float = 20) -> bytes:
    """What the server says to these very bytes."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=seconds) as connection:
        connection.sendall(request)
        pieces = []
        try:
            while piece := connection.recv(65536):
                pieces.append(piece)
        except (TimeoutError, ConnectionResetError):
            pass
        return b"".join(pieces)


# Who may ask ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["example.org", "127.0.0.1", "127.0.0.1:1", "localhost", "127.0.0.1.example.org:{port}", "[::1]:{port}", ""]
)
def test_another_host_is_refused(server: StudioServer, client: httpx.Client, host: str) -> None:
    answer = client.get("/api/studio", headers={"Host": host.format(port=server.port)})
    assert answer.status_code in (400, 403)
    looks_clean(answer)


def test_localhost_is_a_name_for_it(server: StudioServer, client: httpx.Client) -> None:
    assert client.get("/api/studio", headers={"Host": f"localhost:{server.port}"}).status_code == 200


@pytest.mark.parametrize("origin", ["http://example.org", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1"])
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE"])
def test_a_foreign_origin_is_refused(server: StudioServer, client: httpx.Client, origin: str, method: str) -> None:
    headers = {"Origin": origin.format(port=server.port)}
    assert client.request(method, f"{L}/undo", headers=headers, json={"version": ""}).status_code == 403


def test_a_change_without_an_origin_is_refused(server: StudioServer) -> None:
    with httpx.Client(base_url=server.base, cookies={"partwright": server.token}) as client:
        assert client.post(f"{L}/undo", json={"version": ""}).status_code == 403
        assert client.get(L).status_code == 200
        assert client.get(L, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403


@pytest.mark.parametrize(
    "cookie", [None, "", "x", "partwright=", "partwright=wrong", 'partwright="\\303\\251"', ";;;="]
)
def test_without_the_token_nothing_is_shown(server: StudioServer, cookie: str | None) -> None:
    headers = {} if cookie is None else {"Cookie": cookie}
    with httpx.Client(base_url=server.base, headers=headers) as client:
        for path in ("/", "/page/main.js", "/api/studio", "/api/description", "/fonts/serif.ttf", "/nothing"):
            answer = client.get(path)
            assert answer.status_code == 403
            looks_clean(answer)
        assert client.get(f"/enter/{'x' * 43}").status_code == 403
        page = client.get("/", headers={"Accept": "text/html"})
        assert page.status_code == 403
        assert "Open the address the terminal shows." in page.text
        assert page.headers["content-type"].startswith("text/html")
        assert "set-cookie" not in client.get("/enter/wrong").headers


def test_it_listens_on_the_loopback_alone(server: StudioServer) -> None:
    port = f"{server.port:04X}"
    found = [
        line.split()[1]
        for name in ("tcp", "tcp6")
        if (table := Path(f"/proc/{server.process.pid if server.process else 'self'}/net/{name}")).exists()
        for line in table.read_text().splitlines()[1:]
        if line.split()[1].endswith(f":{port}") and line.split()[3] == "0A"
    ]
    if not found:
        pytest.skip("the system does not tell who listens where")
    assert found == [f"0100007F:{port}"]


def test_every_answer_carries_the_policy(client: httpx.Client) -> None:
    for path in ("/", "/api/studio", L, f"{L}/score/0", "/nothing", f"{L}/file/takes/lesson.vtt"):
        answer = client.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        if path == "/":
            assert "script-src 'self';" in policy
            assert "unsafe" not in policy
            assert "frame-ancestors 'none'" in policy


# Where it may reach -----------------------------------------------------------------------------------------

UPWARDS = [
    "../secret.txt", "../../secret.txt", "..%2fsecret.txt", "%2e%2e/secret.txt", "%2e%2e%2f%2e%2e%2fsecret.txt",
    "build/../../../secret.txt", "build/%2e%2e/%2e%2e/%2e%2e/secret.txt", "..%5csecret.txt",
    "build/..%5c..%5csecret.txt",
    "/etc/passwd", "%2fetc%2fpasswd", "build//etc/passwd", "build/leak.txt", "build/out/secret.txt", "takes/leak.vtt",
    "lesson.toml", "tune.musicxml", "history.jsonl", ".partwright.lock", "build", "build/", "takes/.", "takes/..", "",
    "build/%00", "takes/lesson.vtt%00.txt", "takes/lesson.vtt/", "C:%5cwindows", "file:///etc/passwd", "~/x",
    "backing.",
]  # fmt: skip


@pytest.mark.parametrize("path", UPWARDS)
def test_no_file_is_shown_but_those_that_may_be(server: StudioServer, client: httpx.Client, path: str) -> None:
    answer = client.get(f"{server.base}{L}/file/{path}")
    assert answer.status_code in (400, 403, 404), (path, answer.text)
    looks_clean(answer)
    head = f"GET {L}/file/{path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nCookie: partwright={server.token}\r\n"
    said = raw(server, f"{head}Connection: close\r\n\r\n".encode())
    assert SECRET.encode() not in said
    assert b"root:" not in said


@pytest.mark.parametrize("path", ["/page/", "/page", "/page/../serve.py", "/page/%2e%2e/serve.py", "/fonts/", "/api/"])
def test_nothing_is_listed_and_the_program_is_not_shown(client: httpx.Client, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (400, 404)
    looks_clean(answer)


@pytest.mark.parametrize(
    "name", ["linked", "..", ".", "%2e%2e", "..%2f..", "weir%2f..", "weir%00", "", "x" * 300, "nul", "a/b"]
)
def test_no_lesson_is_found_outside_the_folder(client: httpx.Client, name: str) -> None:
    answer = client.get(f"/api/lessons/{name}")
    assert answer.status_code in (400, 404)
    looks_clean(answer)


@pytest.mark.parametrize(
    "name", ["..", "../up", "a/b", "/tmp/x", ".hidden", "con", "x" * 61, "", " ", "a\x00b", "<b>", "a\\b"]
)
def test_no_lesson_is_made_outside_the_folder(server: StudioServer, client: httpx.Client, name: str) -> None:
    before = sorted(p.name for p in server.folder.parent.rglob("*"))
    tune = small_tune("D3:4")
    for answer in (
        client.post("/api/lessons", params={"name": name, "filename": "t.musicxml"}, content=tune),
        client.post("/api/lessons/demo", params={"name": name}),
    ):
        assert answer.status_code in (400, 403, 422), answer.text
        looks_clean(answer)
    assert sorted(p.name for p in server.folder.parent.rglob("*")) == before


def test_a_lesson_may_not_name_files_outside_itself(server: StudioServer, client: httpx.Client) -> None:
    folder = write_lesson_folder(
        server.folder / "reaching", small_tune("D3:4"), 'format = 1\n[tune]\nfile = "../../secret.txt"\n'
    )
    answer = client.get("/api/lessons/reaching")
    assert "outside its folder" in answer.json()["fault"]["words"]
    looks_clean(answer)
    (folder / "tune.musicxml").unlink()
    (folder / "tune.musicxml").symlink_to(server.folder.parent / "secret.txt")
    (folder / "lesson.toml").write_text("format = 1\n")
    answer = client.get("/api/lessons/reaching")
    assert "outside its folder" in answer.json()["fault"]["words"]
    looks_clean(answer)


@pytest.mark.parametrize("name", ["script.md", "errata.toml", "build", "takes", "editions"])
def test_what_the_studio_writes_may_be_no_link_out(server: StudioServer, client: httpx.Client, name: str) -> None:
    lesson = f"linked {name}"
    folder = write_lesson_folder(server.folder / lesson, small_tune("D3:4"))
    (folder / name).symlink_to(server.folder.parent / ("secret.txt" if "." in name else "."))
    answer = client.get(f"/api/lessons/{lesson}")
    assert "link" in answer.json()["fault"]["words"]
    looks_clean(answer)
    version = answer.json()["version"]
    body = {"version": version, "edits": [{"kind": "settings", "values": {"title": "x"}}]}
    assert client.post(f"/api/lessons/{lesson}/edits", json=body).status_code == 422
    assert (server.folder.parent / "secret.txt").read_text() == SECRET
    assert client.get(f"/api/lessons/{lesson}/takes").json() == {"takes": []}
    assert client.get(f"/api/lessons/{lesson}/files").json() == {"files": []}


def test_a_journal_that_is_a_link_is_put_aside_and_not_followed(server: StudioServer, client: httpx.Client) -> None:
    folder = write_lesson_folder(server.folder / "journal", small_tune("D3:4"))
    (folder / "history.jsonl").symlink_to(server.folder.parent / "secret.txt")
    version = client.get("/api/lessons/journal").json()["version"]
    body = {"version": version, "edits": [{"kind": "settings", "values": {"title": "x"}}]}
    assert client.post("/api/lessons/journal/edits", json=body).status_code == 200
    assert (server.folder.parent / "secret.txt").read_text() == SECRET
    assert not (folder / "history.jsonl").is_symlink()


# What it is sent --------------------------------------------------------------------------------------------

BODIES: list[Any] = [
    b"", b"null", b"[]", b"3", b'"x"', b"{", b"\xff\xfe", b"{" * 100_000, b"[" * 100_000, b'{"version": NaN}',
    json.dumps({"version": "\ud800", "edits": []}).encode(),
    json.dumps({"version": 3, "edits": []}).encode(),
    json.dumps({"version": "x" * 1000, "edits": [{"kind": "pin", "n": 0, "value": "1"}]}).encode(),
    json.dumps({"version": "x", "edits": [{"kind": "nothing"}]}).encode(),
    json.dumps({"version": "x", "edits": [{"kind": "pin", "n": 10**30, "value": "1"}]}).encode(),
    json.dumps({"version": "x", "edits": [{"kind": "pin", "n": True, "value": "1"}]}).encode(),
    json.dumps({"version": "x", "edits": [{"kind": ["pin"], "n": 0, "value": "1"}]}).encode(),
    json.dumps({"version": "x", "edits": [{"kind": "settings", "values": {"format": 2}}]}).encode(),
    json.dumps({"version": "x", "edits": "pin"}).encode(),
]  # fmt: skip


@pytest.mark.parametrize("body", range(len(BODIES)))
@pytest.mark.parametrize("path", ["edits", "undo", "try", "keep", "restore", "sentence", "jobs"])
def test_a_body_that_is_none_is_refused_in_words(client: httpx.Client, body: int, path: str) -> None:
    if path == "try" and b'"x' in BODIES[body] and b'"value": "1"' in BODIES[body] and b"1000" not in BODIES[body]:
        pytest.skip("a look ahead asks for no version")
    answer = client.post(f"{L}/{path}", content=BODIES[body], headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 409), answer.text
    assert answer.json()["error"]["words"]
    looks_clean(answer)


@pytest.mark.parametrize(
    "edit",
    [
        {"kind": "pin", "n": 5, "value": EVIL[:50]},
        {"kind": "pin", "n": 5, "value": "9/Q"},
        {"kind": "pin", "n": 5, "value": 'x"\n[evil]\ny = "'},
        {"kind": "pin", "n": 5, "value": "1\x00"},
        {"kind": "pin", "n": 999_999, "value": "1"},
        {"kind": "unpin", "n": 999_999},
        {"kind": "bow", "n": 999_999, "value": "up"},
        {"kind": "pin_range", "first_n": 0, "last_n": 999_999},
        {"kind": "sections", "sections": [{"name": "A", "first_bar": "99", "last_bar": "1"}]},
        {"kind": "settings", "values": {"instrument": "../../secret.toml"}},
        {"kind": "settings", "values": {"instrument": "/etc/passwd.toml"}},
        {"kind": "settings", "values": {"level": "godlike"}},
        {"kind": "settings", "values": {"own_levels": ["godlike"], "style": "nothing"}},
        {"kind": "teaching_order", "order": ["nowhere"]},
        {"kind": "episodes", "episodes": [{"title": "x", "sections": ["nowhere"]}]},
        {"kind": "sentence", "number": 99_999, "text": "x"},
        {"kind": "add_sentence", "after": 99_999, "text": "x"},
    ],
)
def test_an_edit_that_makes_no_sense_changes_nothing(
    server: StudioServer, client: httpx.Client, edit: dict[str, Any]
) -> None:
    path = server.folder / "weir" / "lesson.toml"
    before = path.read_bytes()
    version = client.get(L).json()["version"]
    answer = client.post(f"{L}/edits", json={"version": version, "edits": [edit]})
    assert answer.status_code in (400, 404, 422), answer.text
    assert answer.json()["error"]["words"]
    looks_clean(answer)
    assert path.read_bytes() == before


def test_markup_is_carried_as_text(server: StudioServer, client: httpx.Client) -> None:
    tune = small_tune("D3:2 E3:2").replace(
        "<work-title>Small tune", "<work-title>" + "".join(f"&#{ord(c)};" for c in EVIL)
    )
    tune = tune.replace("<note>", '<note id="x&quot; onload=&quot;alert(1)">', 1)
    made = client.post("/api/lessons", params={"name": "evil", "filename": "t.musicxml", "title": EVIL}, content=tune)
    assert made.status_code == 201, made.text
    lesson = client.get("/api/lessons/evil")
    assert lesson.headers["content-type"] == "application/json"
    assert lesson.json()["title"] == EVIL
    leaf = client.get("/api/lessons/evil/score/0").json()
    for system in leaf["systems"]:
        assert "<script" not in system["svg"]
        assert "onload" not in system["svg"]
        assert "alert" not in system["svg"]


def test_pages_the_program_made_cannot_reach_the_server(server: StudioServer, client: httpx.Client) -> None:
    (server.folder / "weir" / "build" / "page.html").write_text("<script>fetch('/api/studio')</script>")
    answer = client.get(f"{L}/file/build/page.html")
    policy = answer.headers["content-security-policy"]
    assert "sandbox" in policy
    assert "allow-same-origin" not in policy
    assert "default-src 'none'" in policy
    (server.folder / "weir" / "build" / "odd.xyz").write_bytes(b"<script>")
    odd = client.get(f"{L}/file/build/odd.xyz")
    assert odd.headers["content-type"] == "application/octet-stream"
    assert odd.headers["content-disposition"].startswith("attachment")


def test_uploads_that_are_too_large_are_refused_before_they_are_taken(
    server: StudioServer, client: httpx.Client
) -> None:
    head = (
        f"POST /api/lessons?name=big&filename=a.musicxml HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n"
        f"Origin: {server.base}\r\nCookie: partwright={server.token}\r\n"
    )
    said = raw(server, f"{head}Content-Length: 999999999999\r\n\r\n".encode(), seconds=5)
    assert b" 413 " in said.split(b"\r\n")[0]
    said = raw(server, f"{head}Content-Length: -5\r\n\r\n".encode(), seconds=5)
    assert said.split(b" ")[1] in (b"400", b"413")

    def endless() -> Iterator[bytes]:
        for _ in range(50):
            yield b"x" * 1_000_000

    try:
        answer = client.post("/api/lessons", params={"name": "big", "filename": "a.musicxml"}, content=endless())
        assert answer.status_code == 413
    except httpx.WriteError:
        pass  # the server closed while we were still writing, which is as good
    assert not (server.folder / "big").exists()
    large = client.post(
        f"{L}/sentence", content=b'"' + b"x" * 5_000_000 + b'"', headers={"Content-Type": "application/json"}
    )
    assert large.status_code == 413


@pytest.mark.parametrize(
    ("filename", "content"),
    [
        ("t.musicxml", b"<?xml version='1.0'?><!DOCTYPE x [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><x>&a;</x>"),
        ("t.musicxml", b"\x89PNG\r\n\x1a\n" + bytes(100)),
        ("t.mxl", b"PK\x03\x04" + bytes(50)),
        ("t.mid", b"MThd\x00\x00\x00\x06\x00\x01\xff\xff\x00\x60" + b"MTrk\xff\xff\xff\xff"),
        ("t.abc", b"X:1\nK:" + b"A" * 100_000),
        ("t.exe", b"MZ"),
        ("t", b"x"),
        ("../../t.musicxml", b"<score-partwise/>"),
    ],
)
def test_a_lying_tune_is_refused_and_leaves_nothing(
    server: StudioServer, client: httpx.Client, filename: str, content: bytes
) -> None:
    answer = client.post("/api/lessons", params={"name": "liar", "filename": filename}, content=content)
    assert answer.status_code in (400, 415, 422), answer.text
    looks_clean(answer)
    assert not (server.folder / "liar").exists()
    assert not [path for path in server.folder.iterdir() if path.name.startswith(".liar")]


@pytest.mark.parametrize(
    "value", ["bytes=abc", "bytes=5-1", "bytes=0-0,2-3", "bytes=-", "lines=1-2", "bytes=" + "9" * 400 + "-"]
)
def test_a_range_that_is_none_is_passed_over(client: httpx.Client, value: str) -> None:
    answer = client.get(f"{L}/file/takes/lesson.vtt", headers={"Range": value})
    assert answer.status_code == 200
    assert answer.text.startswith("WEBVTT")


@pytest.mark.parametrize(
    "request_line",
    [
        b"GET / HTTP/9.9\r\n\r\n", b"\x00\x01\x02\x03\r\n\r\n", b"GET\r\n\r\n", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"GET / HTTP/1.1\r\n" + b"X: " + b"y" * 100_000 + b"\r\n\r\n",
        b"CONNECT example.org:443 HTTP/1.1\r\nHost: x\r\n\r\n", b"TRACE / HTTP/1.1\r\nHost: x\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nContent-Length: 5\r\n\r\nzz\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\r\n",
    ],
)  # fmt: skip
def test_what_is_no_request_is_refused(server: StudioServer, request_line: bytes) -> None:
    said = raw(server, request_line, seconds=3)
    assert b"Traceback" not in said
    assert said == b"" or said.split(b" ")[1][:1] == b"4", said[:200]
    assert alive(server)


@pytest.mark.parametrize("count", [6, pytest.param(600, marks=pytest.mark.slow)])
def test_slow_requests_are_ended_and_hinder_nobody(server: StudioServer, count: int) -> None:
    began = time.monotonic()
    open_ones = []
    for k in range(count):
        connection = socket.create_connection(("127.0.0.1", server.port), timeout=30)
        if k % 2:
            connection.sendall(b"GET / HTTP/1.1\r\nHost: 127")  # a head that does not end
        else:
            connection.sendall(
                f"POST {L}/undo HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nOrigin: {server.base}\r\n"
                f"Cookie: partwright={server.token}\r\nContent-Type: application/json\r\n"
                f"Content-Length: 50\r\n\r\n{{".encode()
            )
        open_ones.append(connection)
    with server.client() as client:
        asked = time.monotonic()
        assert client.get("/api/studio").status_code == 200
        assert time.monotonic() - asked < 10
    try:
        for connection in open_ones:
            connection.settimeout(40)
            said = b""
            try:
                while piece := connection.recv(4096):
                    said += piece
            except ConnectionResetError:
                pass
            assert said == b"" or b" 408 " in said.split(b"\r\n")[0]
    finally:
        for connection in open_ones:
            connection.close()
    assert time.monotonic() - began < 60


async def many(server: StudioServer, count: int, in_flight: int) -> dict[int, int]:
    """So many requests of every kind, so many at a time; how often each status came."""
    paths = [
        "/", "/api/studio", L, f"{L}/score", f"{L}/score/0", f"{L}/notes/7?pictures=0", f"{L}/notes/999", "/nothing",
        f"{L}/file/takes/lesson.vtt", f"{L}/file/build/leak.txt", f"{L}/takes", "/api/jobs", f"{L}/history",
    ]  # fmt: skip
    statuses: dict[int, int] = {}
    waiting = iter(range(count))
    limits = httpx.Limits(max_connections=in_flight)
    async with httpx.AsyncClient(
        base_url=server.base, cookies={"partwright": server.token}, headers={"Origin": server.base}, limits=limits,
        timeout=120,
    ) as client:  # fmt: skip

        async def ask() -> None:
            for k in waiting:
                if k % 11 == 0:
                    answer = await client.post(f"{L}/undo", json={"version": "old"})
                else:
                    answer = await client.get(paths[k % len(paths)])
                statuses[answer.status_code] = statuses.get(answer.status_code, 0) + 1

        await asyncio.gather(*(ask() for _ in range(in_flight)))
    return statuses


@pytest.mark.parametrize("count", [260, pytest.param(10_000, marks=pytest.mark.slow)])
def test_many_requests_at_once_are_all_answered(server: StudioServer, count: int) -> None:
    statuses = asyncio.run(many(server, count, 64))
    assert sum(statuses.values()) == count
    assert set(statuses) <= {200, 404, 409}, statuses
    assert alive(server)


def test_windows_that_never_read_are_let_go(server: StudioServer) -> None:
    host, cookie = f"Host: 127.0.0.1:{server.port}", f"Cookie: partwright={server.token}"
    head = f"GET /api/events?lesson=weir HTTP/1.1\r\n{host}\r\n{cookie}\r\n\r\n"
    open_ones, said = [], []
    for _ in range(70):
        connection = socket.create_connection(("127.0.0.1", server.port), timeout=10)
        connection.sendall(head.encode())
        open_ones.append(connection)
        said.append(connection.recv(200))
    for connection in open_ones:
        connection.close()
    assert any(b" 429 " in text for text in said)
    assert any(b" 200 " in text for text in said)
    until = time.monotonic() + 40
    while time.monotonic() < until:
        with server.client() as client, client.stream("GET", "/api/events?lesson=weir") as answer:
            if answer.status_code == 200:
                break
        time.sleep(0.5)
    assert answer.status_code == 200


def test_another_partwright_at_work_is_told_in_words(server: StudioServer, client: httpx.Client) -> None:
    from partwright.lesson import folder_lock

    version = client.get(L).json()["version"]
    with folder_lock(server.folder / "weir"):
        answer = client.post(
            f"{L}/edits", json={"version": version, "edits": [{"kind": "settings", "values": {"subtitle": "x"}}]}
        )
        assert answer.status_code == 409
        assert answer.json()["error"]["code"] == "busy"
        assert client.get(L).status_code == 200


def test_a_folder_that_cannot_be_written_is_told_in_words(tmp_path: Path) -> None:
    if os.geteuid() == 0:
        pytest.skip("root may write anywhere")
    write_demo(tmp_path / "weir")
    (tmp_path / "weir").chmod(0o555)
    with StudioServer(tmp_path) as server, server.client() as client:
        version = client.get(L).json()["version"]
        answer = client.post(
            f"{L}/edits", json={"version": version, "edits": [{"kind": "settings", "values": {"subtitle": "x"}}]}
        )
        assert answer.status_code == 422
    (tmp_path / "weir").chmod(0o755)


def test_edits_from_many_windows_are_all_there_or_refused(server: StudioServer) -> None:
    """As many windows as can be, each editing on what it saw: every edit that was acknowledged is one step of undo."""
    made: list[str] = []

    def work(k: int) -> None:
        with server.client() as client:
            for _ in range(6):
                version = client.get(L).json()["version"]
                answer = client.post(
                    f"{L}/edits",
                    json={
                        "version": version,
                        "edits": [{"kind": "settings", "values": {"subtitle": f"{k} {time.time()}"}}],
                    },
                )
                assert answer.status_code in (200, 409), answer.text
                if answer.status_code == 200:
                    made.append(answer.json()["version"])

    threads = [threading.Thread(target=work, args=(k,)) for k in range(8)]
    with server.client() as client:
        steps = len(client.get(f"{L}/history").json()["entries"])
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with server.client() as client:
        history = client.get(f"{L}/history").json()["entries"]
    assert len(set(made)) == len(made)
    assert len(history) - steps == len(made)
