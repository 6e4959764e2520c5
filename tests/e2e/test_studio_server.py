"""The studio's server as a page uses it: edits kept, conflicts told, nothing lost over a kill or a restart."""

from __future__ import annotations

import json
import random
import re
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from made_tunes import small_tune, write_lesson_folder
from partwright.lesson import read_lesson, write_demo
from studio_server import StudioServer

L = "/api/lessons/weir"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StudioServer]:
    folder = tmp_path_factory.mktemp("studio")
    write_demo(folder / "weir")
    with StudioServer(folder) as running:
        yield running


@pytest.fixture
def client(server: StudioServer) -> Iterator[httpx.Client]:
    with server.client() as client:
        yield client
        version = client.get(L).json()["version"]  # every test leaves the lesson as it found it
        while (answer := client.post(f"{L}/undo", json={"version": version})).status_code == 200:
            version = answer.json()["version"]


def edit(client: httpx.Client, version: str, *edits: dict[str, Any], **more: Any) -> httpx.Response:
    return client.post(f"{L}/edits", json={"version": version, "edits": list(edits), **more})


def test_it_prints_its_address_and_lets_in_who_has_it(server: StudioServer) -> None:
    with httpx.Client(base_url=server.base) as stranger:
        assert stranger.get("/").status_code == 403
        answer = stranger.get(f"/enter/{server.token}")
        assert answer.status_code == 200
        cookie = answer.headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert re.search("samesite=strict", cookie, re.IGNORECASE)
        assert stranger.get("/api/studio").json()["lessons"][0]["name"] == "weir"


def test_a_lesson_says_what_it_is(client: httpx.Client) -> None:
    lesson = client.get(L).json()
    assert lesson["title"] == "Lantern on the Weir"
    assert lesson["bars"]["count"] == 41
    assert lesson["notes"] == 96
    assert [section["name"] for section in lesson["sections"]] == list("ABCDE")
    assert len(lesson["pins"]) == 7
    assert lesson["undo"] is None


def test_the_score_comes_in_systems_whose_notes_are_all_there_once(client: httpx.Client) -> None:
    leaves = client.get(f"{L}/score").json()["leaves"]
    seen: list[int] = []
    for leaf in leaves:
        found = client.get(f"{L}/score/{leaf['leaf']}", params={"width_mm": 150}).json()
        glyphs = set(found["glyphs"])
        for system in found["systems"]:
            svg = system["svg"]
            assert svg.startswith(f'<svg xmlns="http://www.w3.org/2000/svg" class="system" id="{system["id"]}"')
            assert not re.search(r"<style|<script|\sstyle=|\son\w+=|javascript:", svg)
            ids = re.findall(r'\bid="([^"]+)"', svg)
            assert ids[0] == system["id"]
            assert sorted(ids[1:]) == sorted(f"note-{note['n']}" for note in system["notes"])
            assert set(re.findall(r'href="#sign-(\w+)"', svg)) <= glyphs
            hits = re.findall(r'class="note-hit" data-n="(\d+)"', svg)
            assert sorted(map(int, hits)) == sorted(note["n"] for note in system["notes"])
            seen += [note["n"] for note in system["notes"]]
        held = ",".join(system["key"] for system in found["systems"])
        again = client.get(f"{L}/score/{leaf['leaf']}", params={"width_mm": 150, "have": held}).json()
        assert [system["svg"] for system in again["systems"]] == [None] * len(found["systems"])
    assert sorted(seen) == list(range(96))


def test_a_note_says_why_and_prices_what_else(client: httpx.Client) -> None:
    lesson = client.get(L).json()
    pinned = next(pin["n"] for pin in lesson["pins"] if pin["place"] == "17:1")
    note = client.get(f"{L}/notes/{pinned}").json()
    assert note["pin"] == {"place": "17:1", "value": "1/A", "words": "first finger on the A string"}
    assert note["words"].endswith(".")
    assert note["chosen"]["svg"].startswith("<svg")
    assert note["bow"]["direction"] in ("down", "up")
    free = client.get(f"{L}/notes/40").json()
    costs = [a["extra_cost"] for a in free["alternatives"]]
    assert costs == sorted(costs)
    assert all(a["words"] and a["value"] and a["svg"].startswith("<svg") for a in free["alternatives"])


def test_a_pick_is_pinned_replanned_told_and_taken_back(server: StudioServer, client: httpx.Client) -> None:
    path = server.folder / "weir" / "lesson.toml"
    before = path.read_text()
    version = client.get(L).json()["version"]
    n = next(k for k in range(40, 60) if len(client.get(f"{L}/notes/{k}").json()["alternatives"]) > 1)
    pick = client.get(f"{L}/notes/{n}").json()["alternatives"][0]
    shown = {"width_mm": 180, "leaves": [0, 1]}
    done = edit(client, version, {"kind": "pin", "n": n, "value": pick["value"]}, shown=shown).json()
    assert n in done["changes"]["n"]
    assert done["changes"]["words"]
    assert 0 < len(done["systems"]) < 4
    assert all(system["svg"] for system in done["systems"] if n in {note["n"] for note in system["notes"]})
    assert done["undo"].startswith("Pinned")
    assert any(pin.text.endswith(f"={pick['value']}") for pin in read_lesson(path.parent).pins)
    for comment in re.findall(r"#.*", before):
        assert comment in path.read_text()
    back = client.post(f"{L}/undo", json={"version": done["version"], "shown": shown}).json()
    assert path.read_text() == before
    assert back["version"] == version
    assert back["redo"] == done["undo"]
    again = client.post(f"{L}/redo", json={"version": version}).json()
    assert again["version"] == done["version"]


def test_a_range_is_pinned_as_planned_and_unpinned(client: httpx.Client) -> None:
    lesson = client.get(L).json()
    done = edit(client, lesson["version"], {"kind": "pin_range", "first_n": 0, "last_n": 9}).json()
    assert not done["changes"]["n"]
    assert len(done["pins"]) > len(lesson["pins"])
    gone = edit(client, done["version"], {"kind": "unpin_range", "first_n": 0, "last_n": 9}).json()
    assert not [pin for pin in gone["pins"] if pin["n"] is not None and pin["n"] <= 9]


def test_a_bow_is_pinned_beside_a_finger(client: httpx.Client) -> None:
    version = client.get(L).json()["version"]
    note = client.get(f"{L}/notes/40").json()
    other = "up" if note["bow"]["direction"] == "down" else "down"
    n = note["bow"]["first"]["n"]
    done = edit(
        client, version, {"kind": "bow", "n": n, "value": other},
        {"kind": "pin_range", "first_n": n, "last_n": n},
    ).json()  # fmt: skip
    kinds = {pin["kind"] for pin in done["pins"] if pin["n"] == n}
    assert kinds == {"bow", "finger"}
    assert client.get(f"{L}/notes/{n}").json()["bow"]["direction"] == other
    gone = edit(client, done["version"], {"kind": "bow", "n": n, "value": None}).json()
    assert {pin["kind"] for pin in gone["pins"] if pin["n"] == n} == {"finger"}


def test_a_pin_no_hand_can_play_is_refused_and_changes_nothing(server: StudioServer, client: httpx.Client) -> None:
    before = (server.folder / "weir" / "lesson.toml").read_bytes()
    version = client.get(L).json()["version"]
    answer = edit(client, version, {"kind": "pin", "n": 0, "value": "4/A"})
    assert answer.status_code == 422
    error = answer.json()["error"]
    assert error["code"] == "cannot"
    assert error["words"].endswith(".")
    assert (server.folder / "weir" / "lesson.toml").read_bytes() == before
    assert client.get(L).json()["version"] == version


def test_two_windows_never_overwrite_each_other(server: StudioServer, client: httpx.Client) -> None:
    with server.client() as other:
        version = client.get(L).json()["version"]
        assert other.get(L).json()["version"] == version
        mine = edit(client, version, {"kind": "settings", "values": {"subtitle": "mine"}}).json()
        theirs = edit(other, version, {"kind": "settings", "values": {"subtitle": "theirs"}})
        assert theirs.status_code == 409
        assert theirs.json()["error"]["code"] == "changed"
        assert theirs.json()["error"]["version"] == mine["version"]
        assert "another window" in theirs.json()["error"]["words"]
        assert other.get(L).json()["subtitle"] == "mine"
        again = edit(other, mine["version"], {"kind": "settings", "values": {"subtitle": "theirs"}})
        assert again.status_code == 200


def test_a_change_made_in_a_text_editor_is_noticed_told_and_undone(server: StudioServer, client: httpx.Client) -> None:
    version = client.get(L).json()["version"]
    edit(client, version, {"kind": "settings", "values": {"subtitle": "here"}})
    path = server.folder / "weir" / "lesson.toml"
    with client.stream("GET", "/api/events", params={"lesson": "weir"}) as stream:
        lines = stream.iter_lines()
        assert next(lines).startswith("retry")
        path.write_text(path.read_text().replace('subtitle = "here"', 'subtitle = "outside"'))
        told = next(line for line in lines if line.startswith("data:") and "outside" in line)
    version = json.loads(told[5:])["version"]
    lesson = client.get(L).json()
    assert lesson["version"] == version
    assert lesson["subtitle"] == "outside"
    assert "outside" in lesson["undo"]
    back = client.post(f"{L}/undo", json={"version": version}).json()
    assert 'subtitle = "here"' in path.read_text()
    assert back["redo"] == lesson["undo"]


def test_a_tune_that_is_exported_again_is_read_again(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "mill", small_tune("D3:2 E3:2"))
    address = "/api/lessons/mill"
    with StudioServer(tmp_path) as server, server.client() as client:
        before = client.get(address).json()
        assert before["notes"] == 2
        (folder / "tune.musicxml").write_text(small_tune("D3:2 E3:2", "F3:1 G3:1 A3:2"))
        after = client.get(address).json()
        assert after["notes"] == 5
        assert after["version"] != before["version"]
        assert len(client.get(f"{address}/score/0").json()["systems"][0]["notes"]) == 5
        old = edit_at(client, address, before["version"], {"kind": "settings", "values": {"title": "x"}})
        assert old.status_code == 409
        new = edit_at(client, address, after["version"], {"kind": "settings", "values": {"title": "x"}})
        assert new.status_code == 200


def test_a_lesson_broken_by_hand_says_where_and_can_be_taken_back(server: StudioServer, client: httpx.Client) -> None:
    version = client.get(L).json()["version"]
    edit(client, version, {"kind": "settings", "values": {"subtitle": "x"}})
    path = server.folder / "weir" / "lesson.toml"
    good = path.read_text()
    path.write_text(good.replace("[pins]", '[pins]\n"999:1" = "1"'))
    lesson = client.get(L).json()
    assert lesson["fault"]["words"]
    assert "999" in lesson["fault"]["words"]
    assert client.get(f"{L}/score").status_code == 422
    fixed = client.post(f"{L}/undo", json={"version": lesson["version"]})
    assert fixed.status_code == 200
    assert path.read_text() == good


def test_sections_are_renamed_and_what_names_them_follows(client: httpx.Client) -> None:
    lesson = client.get(L).json()
    sections = [
        {key: section[key] for key in ("name", "first_bar", "last_bar", "remark")} for section in lesson["sections"]
    ]
    sections[1]["name"] = "The dark half"
    done = edit(client, lesson["version"], {"kind": "sections", "sections": sections})
    assert done.status_code == 200
    lesson = client.get(L).json()
    assert lesson["episodes"][0]["sections"] == ["A", "The dark half"]
    done = edit(client, lesson["version"], {"kind": "teaching_order", "order": ["C", "A"]})
    assert client.get(L).json()["teaching_order"] == ["C", "A"]


def test_a_sentence_is_checked_while_it_is_written_and_kept(client: httpx.Client) -> None:
    plan = client.get(f"{L}/score/0").json()["systems"][0]["notes"]
    note = next(n for n in plan if n["finger"] in ("1", "2") and n["bar"] != "0" and len(n["pitch"]) == 2)
    right = {"1": "first", "2": "second"}[note["finger"]]
    wrong = "fourth"
    letter = note["pitch"][0]
    body = {"text": f"Take the {letter} with the {wrong} finger.", "bars": [note["bar"], note["bar"]]}
    said = client.post(f"{L}/sentence", json=body).json()
    assert [f["kind"] for f in said["findings"]] == ["finger"], said
    assert said["findings"][0]["verdict"] in ("wrong", "check")
    assert said["findings"][0]["right"] == f"{right} finger"
    assert body["text"][said["findings"][0]["first_char"] : said["findings"][0]["last_char"]]
    body["text"] = f"Take the {letter} with the {right} finger."
    assert not client.post(f"{L}/sentence", json=body).json()["findings"]
    version = client.get(L).json()["version"]
    done = edit(client, version, {"kind": "sentence", "number": 3, "text": "Say this instead <b>now</b>."}).json()
    script = client.get(f"{L}/script").json()
    assert script["own"]
    assert script["sentences"][2]["text"] == "Say this instead <b>now</b>."
    gone = edit(client, done["version"], {"kind": "own_script", "own": False})
    assert gone.status_code == 200
    assert not client.get(f"{L}/script").json()["own"]


def test_plans_are_kept_compared_and_gone_back_to(client: httpx.Client) -> None:
    version = client.get(L).json()["version"]
    assert client.post(f"{L}/keep", json={"version": version, "name": "as it was"}).status_code == 200
    done = edit(client, version, {"kind": "settings", "values": {"level": "beginner"}}).json()
    found = client.get(f"{L}/compare", params={"a": "kept:as it was", "b": "now"}).json()
    assert found["notes"]
    assert found["words"]
    assert client.get(f"{L}/compare", params={"a": "now", "b": "kept:nothing"}).status_code == 404
    back = client.post(f"{L}/restore", json={"version": done["version"], "name": "as it was"}).json()
    assert back["version"] == version
    assert not client.get(f"{L}/compare", params={"a": "kept:as it was", "b": "now"}).json()["notes"]


def test_a_look_ahead_writes_nothing(server: StudioServer, client: httpx.Client) -> None:
    before = (server.folder / "weir" / "lesson.toml").read_bytes()
    looked = client.post(f"{L}/try", json={"edits": [{"kind": "settings", "values": {"level": "beginner"}}]}).json()
    assert looked["changes"]["n"]
    assert (server.folder / "weir" / "lesson.toml").read_bytes() == before


def test_a_newcomer_starts_a_lesson_from_a_tune_and_from_the_demonstration(server: StudioServer) -> None:
    tune = small_tune("D3:4")
    with server.client() as client:
        made = client.post(
            "/api/lessons", params={"name": "Mill race", "filename": "mill.musicxml", "level": "beginner"}, content=tune
        )
        assert made.status_code == 201, made.text
        assert made.json()["survey"]
        assert made.json()["lesson"]["level"] == "beginner"
        taken = client.post("/api/lessons", params={"name": "Mill race", "filename": "mill.musicxml"}, content=tune)
        assert taken.status_code == 422
        demo = client.post("/api/lessons/demo", params={"name": "first"})
        assert demo.status_code == 201
        names = [row["name"] for row in client.get("/api/studio").json()["lessons"]]
        assert names == ["first", "Mill race", "weir"]
    assert (server.folder / "Mill race" / "tune.musicxml").read_text() == tune


def wait_for(client: httpx.Client, job: dict[str, Any], seconds: float = 120) -> dict[str, Any]:
    until = time.monotonic() + seconds
    while job["state"] in ("waiting", "running"):
        assert time.monotonic() < until, job
        time.sleep(0.1)
        job = client.get(f"/api/jobs/{job['id']}").json()["job"]
    return job


def test_a_build_tells_how_it_goes_and_can_be_cancelled(server: StudioServer, client: httpx.Client) -> None:
    body = {"kind": "build", "only": ["part-a4"]}
    job = wait_for(client, client.post(f"{L}/jobs", json=body).json()["job"])
    assert job["state"] == "done", job
    urls = [file["url"] for step in job["result"]["steps"] for file in step["files"]]
    pdf = client.get(next(url for url in urls if url.endswith("part-a4.pdf")))
    assert pdf.content.startswith(b"%PDF")
    assert pdf.headers["content-type"] == "application/pdf"
    assert any(row["path"] == "build/part-a4.pdf" for row in client.get(f"{L}/files").json()["files"])
    assert client.post(f"{L}/jobs", json={"kind": "build", "only": ["nonsense"]}).status_code == 422
    long = client.post(f"{L}/jobs", json={"kind": "build"}).json()["job"]
    version = client.get(L).json()["version"]
    until = time.monotonic() + 30
    while client.get(f"/api/jobs/{long['id']}").json()["job"]["state"] == "waiting" and time.monotonic() < until:
        time.sleep(0.05)
    assert edit(client, version, {"kind": "settings", "values": {"subtitle": "meanwhile"}}).status_code == 200
    client.delete(f"/api/jobs/{long['id']}")
    assert wait_for(client, long, 30)["state"] == "cancelled"


def test_sound_has_a_map_and_is_served_in_ranges(client: httpx.Client) -> None:
    answer = client.get(f"{L}/sound", params={"what": "click", "percent": 120}).json()
    if not answer["ready"]:
        assert wait_for(client, answer["job"])["state"] == "done"
        answer = client.get(f"{L}/sound", params={"what": "click", "percent": 120}).json()
    assert answer["tempo_qpm"] == pytest.approx(120)
    starts = [note["start_s"] for note in answer["notes"]]
    assert starts[0] == pytest.approx(answer["count_in_s"], abs=1.2)
    assert len(answer["notes"]) > 96  # the repeats are played
    whole = client.get(answer["url"])
    assert whole.content.startswith(b"fLaC")
    part = client.get(answer["url"], headers={"Range": "bytes=100-199"})
    assert part.status_code == 206
    assert part.content == whole.content[100:200]
    assert part.headers["content-range"] == f"bytes 100-199/{len(whole.content)}"
    last = client.get(answer["url"], headers={"Range": "bytes=-50"})
    assert last.content == whole.content[-50:]
    assert client.get(answer["url"], headers={"Range": f"bytes={len(whole.content)}-"}).status_code == 416


def test_findings_come_in_order_and_decisions_go_where_the_check_reads_them(
    server: StudioServer, client: httpx.Client
) -> None:
    answer = client.get(f"{L}/findings", params={"take": "lesson.vtt"}).json()
    if not answer["ready"]:
        assert wait_for(client, answer["job"])["state"] == "done"
        answer = client.get(f"{L}/findings", params={"take": "lesson.vtt"}).json()
    times = [finding["time_s"] for finding in answer["findings"] if finding["time_s"] is not None]
    assert times == sorted(times)
    first = answer["findings"][0]
    assert first["play_from_s"] == pytest.approx(first["time_s"] - 3)
    body = {"take": "lesson.vtt", "key": first["key"], "decision": "right", "version": answer["version"]}
    done = client.put(f"{L}/findings/decision", json=body).json()
    from partwright.checking.narration import read_review

    review = server.folder / "weir" / "takes" / "lesson.review.json"
    assert read_review(review) == {first["key"]: "right"}
    assert client.put(f"{L}/findings/decision", json=body).status_code == 409
    pinnable = next(f for f in answer["findings"] if f["pins"])
    version = client.get(L).json()["version"]
    body = {
        "take": "lesson.vtt", "key": pinnable["key"], "decision": "pin", "version": done["version"],
        "lesson_version": version,
    }  # fmt: skip
    pinned = client.put(f"{L}/findings/decision", json=body).json()
    assert pinned["edit"]["version"] != version
    assert pinnable["pins"][0]["place"] in {pin["place"] for pin in pinned["edit"]["pins"]}
    assert client.get(f"{L}/findings", params={"take": "lesson.vtt"}).json()["stale"]


def test_an_edition_is_released_once_the_rights_sheet_allows_it(tmp_path: Path) -> None:
    write_lesson_folder(tmp_path / "mill", small_tune("D3:2 E3:2", title="Mill race"))
    address = "/api/lessons/mill"
    with StudioServer(tmp_path) as server, server.client() as client:
        publish = client.get(f"{address}/publish").json()
        assert not publish["may_be_released"]
        assert publish["gaps"][0]["todo"]
        assert publish["caution"]
        refused = wait_for(client, client.post(f"{address}/jobs", json={"kind": "release"}).json()["job"])
        assert refused["state"] == "failed"
        assert "rights" in refused["error"]["words"].casefold()
        version = client.get(address).json()["version"]
        assert client.get(f"{address}/publish").json()["id"] == "mill-race"
        done = edit_at(
            client, address, version,
            {"kind": "rights", "values": {"status": "own-work", "reason": "I wrote it", "granted": "2026-11-01"}},
            {"kind": "catalogue", "values": {"sell": ["part-a4"], "price": "3.00 EUR"}},
        )  # fmt: skip
        assert done.status_code == 200, done.text
        publish = client.get(f"{address}/publish").json()
        assert publish["may_be_released"], publish["gaps"]
        assert publish["rights"]["granted"] == "2026-11-01"
        released = wait_for(client, client.post(f"{address}/jobs", json={"kind": "release"}).json()["job"])
        assert released["state"] == "done", released
        assert released["result"]["number"] == 1
        edition = client.get(f"{address}/publish").json()["editions"][0]
        assert edition["changes"] == ["First edition."]
        pdf = client.get(edition["files"][0]["url"])
        assert pdf.content.startswith(b"%PDF")
        import hashlib

        assert hashlib.sha256(pdf.content).hexdigest() == edition["files"][0]["sha256"]
        assert client.get(f"{address}/file/editions/1/source/lesson.toml").status_code == 404
        again = wait_for(client, client.post(f"{address}/jobs", json={"kind": "release"}).json()["job"])
        assert again["state"] == "failed"
        bad = edit_at(
            client, address, client.get(address).json()["version"],
            {"kind": "rights", "values": {"expires": "2026-13-99"}},
        )  # fmt: skip
        assert bad.status_code == 422


def edit_at(client: httpx.Client, address: str, version: str, *edits: dict[str, Any]) -> httpx.Response:
    return client.post(f"{address}/edits", json={"version": version, "edits": list(edits)})


def test_a_viewers_comment_becomes_an_erratum_to_decide_on(server: StudioServer, client: httpx.Client) -> None:
    notes = client.get(f"{L}/score/0").json()["systems"][0]["notes"]
    note = next(n for n in notes if n["pitch"] == "F#3")
    comments = f"In bar {note['bar']} the second note should be played with the fourth finger, shouldn't it?\nLovely.\n"
    answer = client.post(f"{L}/reports", params={"filename": "comments.txt"}, content=comments.encode())
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert found["summary"]["comments"] == 2
    assert found["summary"]["thanks"] + found["summary"]["other"] >= 1
    assert (server.folder / "weir" / "reports.json").is_file()
    assert "Lovely" not in (server.folder / "weir" / "reports.json").read_text()
    lying = client.post(f"{L}/reports", params={"filename": "comments.exe"}, content=b"MZ")
    assert lying.status_code == 415
    from datetime import date

    from partwright.lesson import Erratum, add_erratum, folder_lock

    with folder_lock(server.folder / "weir"):
        added = add_erratum(server.folder / "weir", Erratum(kind="word", words="a misprint"), today=date.today())
    errata = client.get(f"{L}/publish").json()["errata"]
    assert [e["state"] for e in errata if e["id"] == added.id] == ["draft"]
    body = {"id": added.id, "state": "confirmed", "was": "draft"}
    assert client.put(f"{L}/errata", json=body).status_code == 200
    assert client.put(f"{L}/errata", json=body).status_code == 409


def test_keys_are_ranked_and_a_lesson_starts_in_the_one_chosen(server: StudioServer, client: httpx.Client) -> None:
    job = wait_for(client, client.post(f"{L}/jobs", json={"kind": "keys"}).json()["job"])
    assert job["state"] == "done", job
    best = job["result"]["ranking"][0]
    assert {"tonic", "mode", "octave_shift", "cost_per_note", "lowest", "highest", "octave"} <= set(best)
    choice = next(row for row in job["result"]["ranking"] if row["tonic"] == "G" and row["mode"] == "major")
    made = client.post(f"{L}/in_key", params={"name": "weir in G", "key": "G", "octave": choice["octave"]})
    assert made.status_code == 201, made.text
    assert made.json()["lesson"]["key"] == "G major"
    assert made.json()["lesson"]["pins"] == []
    assert client.get(L).json()["key"] == "D major"
    assert client.post(f"{L}/jobs", json={"kind": "keys", "near": "H sharp"}).status_code == 422


def test_a_take_is_known_by_its_content(server: StudioServer, client: httpx.Client) -> None:
    vtt = b"WEBVTT\n\n00:00.000 --> 00:02.000\nthe first note is A\n"
    good = client.post(f"{L}/takes", params={"filename": "../../Tuesday <one>.vtt"}, content=vtt)
    assert good.status_code == 201
    name = good.json()["take"]["name"]
    assert "/" not in name
    assert "<" not in name
    assert (server.folder / "weir" / "takes" / name).read_bytes() == vtt
    again = client.post(f"{L}/takes", params={"filename": name}, content=vtt).json()["take"]["name"]
    assert again != name
    for filename, content in (
        ("film.mp4", b"MZ" + bytes(2000)),
        ("film.mp4", b"\x00\x00\x00\x18ftypisom" + bytes(500)),
        ("sound.wav", b"RIFF\x00\x00\x00\x00WAVE"),
        ("page.html", b"<script>alert(1)</script>"),
        ("said.vtt", b"\x00\x01\x02\x03" * 200),
        ("said.srt", b"%PDF-1.7 no transcript\n\n"),
        ("noending", b"hello"),
    ):
        answer = client.post(f"{L}/takes", params={"filename": filename}, content=content)
        assert (answer.status_code == 415) or (filename == "said.srt" and answer.status_code == 201), answer.text
    assert client.post(f"{L}/takes", params={"filename": "empty.vtt"}, content=b"").status_code == 400
    left = {path.name for path in (server.folder / "weir").iterdir()}
    assert not [name for name in left if name.startswith(".taking")]


# Kills and restarts ---------------------------------------------------------------------------------------------------


def kill_while_saving(folder: Path, times: int, seed: int) -> None:
    """Edit as fast as can be, pull the plug at a random moment, and look: the last edit acknowledged must be there."""
    chance = random.Random(seed)
    write_lesson_folder(folder / "mill", small_tune(*["D3:2 E3:2"] * 4))
    path = folder / "mill"
    number = 0
    acknowledged: list[str] = []
    for _ in range(times):
        tried = there = ""
        with StudioServer(folder) as server, server.client() as client:
            lesson = client.get("/api/lessons/mill").json()
            there, version = lesson["subtitle"], lesson["version"]
            assert there == read_lesson(path).subtitle
            threading.Timer(chance.uniform(0.01, 0.3), server.kill).start()
            try:
                while True:
                    number += 1
                    tried = f"edit {number}"
                    edits = [{"kind": "settings", "values": {"subtitle": tried}}]
                    answer = client.post("/api/lessons/mill/edits", json={"version": version, "edits": edits})
                    assert answer.status_code == 200, answer.text
                    acknowledged.append(tried)
                    there, version = tried, answer.json()["version"]
            except httpx.TransportError:
                pass
        assert read_lesson(path).subtitle in (there, tried)
    assert acknowledged
    with StudioServer(folder) as server, server.client() as client:
        lesson = client.get("/api/lessons/mill").json()
        version, steps = lesson["version"], 0
        while (answer := client.post("/api/lessons/mill/undo", json={"version": version})).status_code == 200:
            version = answer.json()["version"]
            steps += 1
        assert steps >= len(acknowledged)
        assert read_lesson(path).subtitle == ""


def test_the_last_acknowledged_edit_is_there_after_a_kill(tmp_path: Path) -> None:
    kill_while_saving(tmp_path, 6, seed=1)


@pytest.mark.slow
def test_the_last_acknowledged_edit_is_there_after_a_hundred_kills(tmp_path: Path) -> None:
    kill_while_saving(tmp_path, 100, seed=2)


def test_undo_goes_on_after_a_restart(tmp_path: Path) -> None:
    write_demo(tmp_path / "weir")
    before = (tmp_path / "weir" / "lesson.toml").read_bytes()
    with StudioServer(tmp_path, "weir") as server, server.client() as client:
        assert client.get("/api/studio").json()["opened"] == "weir"
        version = client.get(L).json()["version"]
        done = edit(client, version, {"kind": "settings", "values": {"title": "Other"}}).json()
    with StudioServer(tmp_path, "weir") as server, server.client() as client:
        lesson = client.get(L).json()
        assert lesson["version"] == done["version"]
        assert lesson["undo"] == "Changed the title"
        client.post(f"{L}/undo", json={"version": lesson["version"]})
    assert (tmp_path / "weir" / "lesson.toml").read_bytes() == before


def test_a_report_is_answered_and_one_changed_by_hand_still_shows(server: StudioServer, client: httpx.Client) -> None:
    path = server.folder / "weir" / "reports.json"
    before = path.read_bytes() if path.is_file() else None
    rows = [
        {"id": "r1", "kind": "claim", "bar": "3", "verdict": "right", "words": "C sharp", "count": 2, "state": "open"},
        {"id": "r2", "kind": "question", "words": "<b>why?</b>", "state": "answered", "edition": 2, "answered": "x"},
        {"id": 3, "kind": "claim", "bar": 4, "verdict": {"odd": 1}, "count": "many", "edition": "x", "history": 7},
    ]
    try:
        path.write_text(json.dumps({"format": 1, "reports": rows}), encoding="utf-8")
        told = client.get(f"{L}/publish").json()["reports"]
        assert [(row["id"], row["state"], row["verdict"], row["count"]) for row in told] == [
            ("r1", "open", "right", 2), ("3", "open", None, 1), ("r2", "answered", None, 1),
        ]  # fmt: skip
        body = {"id": "r1", "state": "answered", "was": "open"}
        answer = client.put(f"{L}/reports", json=body)
        assert answer.status_code == 200
        assert [row["id"] for row in answer.json()["reports"] if row["state"] == "answered"] == ["r1", "r2"]
        assert client.put(f"{L}/reports", json=body).status_code == 409
        assert client.put(f"{L}/reports", json={**body, "id": "r9"}).status_code == 404
        kept = json.loads(path.read_bytes())["reports"]
        assert kept[0]["history"][-1]["by"] == "maker"
        assert kept[1:] == rows[1:]
        path.write_text("{", encoding="utf-8")
        broken = client.get(f"{L}/publish").json()
        assert (broken["reports"], "cannot be read" in broken["reports_fault"]["words"]) == ([], True)
    finally:
        path.unlink()
        if before is not None:
            path.write_bytes(before)
