"""The server of the page: what it tells, what it keeps, and whom it refuses."""

import io
import json
import random
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from review_samples import drafted, sureness, with_note, write
from starlette.testclient import TestClient

from transcriber.draft import ACTIONS, read_corrected, read_draft, read_journal
from transcriber.draft.journal import journal_path
from transcriber.errors import TranscriberError
from transcriber.records.technique import Technique
from transcriber.review.app import make_application, page_files
from transcriber.review.closeup import closeup_of
from transcriber.review.desk import Desk
from transcriber.review.security import HEADERS

PORT, TOKEN = 8417, "a-token-for-tests"
BASE = f"http://127.0.0.1:{PORT}"


@pytest.fixture
def path(tmp_path):
    draft = with_note(drafted(), "n003", confidence=sureness(technique=0.2))
    draft = with_note(draft, "n007", confidence=sureness(place=0.4))
    return write(draft, tmp_path)


@pytest.fixture
def client(path):
    desk = Desk(path, path.with_name(read_draft(path).source.file))
    return TestClient(make_application(desk, PORT, TOKEN), base_url=BASE)


def post(client, name, **body):
    sheet = client.get("/api/sheet").json()
    full = {"seen": sheet["revision"], "draft": sheet["draft"], **body}
    return client.post(f"/api/{name}", json=full, headers={"x-transcriber-token": TOKEN})


def test_the_page_and_its_files_are_served_with_a_strict_policy(client):
    answer = client.get("/")
    assert answer.status_code == 200
    assert "main.js" in answer.text
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    for name in page_files().keys() - {"index.html"}:
        assert client.get(f"/{name}").status_code == 200
        assert client.get(f"/{name}").headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(("name", "value"), HEADERS)
def test_refusals_carry_the_same_headers(client, name, value):
    answer = client.get("/", headers={"host": "example.org"})
    assert answer.status_code == 403
    assert answer.headers[name] == value


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example:8417"},
        {"host": "127.0.0.1:9999"},
        {"host": ""},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_foreign_hosts_and_origins_are_refused(client, headers):
    assert client.get("/api/sheet", headers=headers).status_code == 403
    allowed = {"x-transcriber-token": TOKEN, **headers}
    assert client.post("/api/undo", json={}, headers=allowed).status_code == 403


def test_its_own_origin_is_served(client):
    headers = {"origin": BASE, "sec-fetch-site": "same-origin"}
    assert client.get("/api/sheet", headers=headers).status_code == 200


@pytest.mark.parametrize("token", [None, "", "wrong", TOKEN + "x", TOKEN.upper()])
def test_writing_needs_the_token(client, path, token):
    headers = {} if token is None else {"x-transcriber-token": token}
    body = {"seen": 0, "corrections": [{"action": "remove_note", "note": "n001"}]}
    assert client.post("/api/keep", json=body, headers=headers).status_code == 403
    assert not journal_path(path).exists()


@pytest.mark.parametrize("method", ["put", "delete", "patch", "options"])
def test_other_methods_are_refused(client, method):
    assert getattr(client, method)("/api/keep").status_code == 405


def test_what_is_no_json_or_too_long_is_refused(client):
    headers = {"x-transcriber-token": TOKEN}
    assert client.post("/api/keep", content=b"a=1", headers=headers).status_code == 415
    as_json = {**headers, "content-type": "application/json"}
    assert client.post("/api/keep", content=b"{", headers=as_json).status_code == 400
    assert client.post("/api/keep", content=b"[]", headers=as_json).status_code == 422
    assert client.post("/api/keep", content=b"1" * 2_000_001, headers=as_json).status_code == 413


@pytest.mark.parametrize(
    "address",
    ["/../line.draft.json", "/%2e%2e/line.draft.json", "/line.draft.json", "/vexflow/../../app.py", "/app.py",
     "/vexflow", "/vexflow/LICENSE", "/sound/whole?kind=../../etc/passwd", "/sound/moment?about=../../x"],
)  # fmt: skip
def test_nothing_else_on_the_disk_is_served(client, address):
    assert client.get(address).status_code in (404, 422)


def test_the_sheet_tells_bars_notes_and_questions_worst_first(client):
    sheet = client.get("/api/sheet").json()
    assert sheet["name"] == "line"
    assert len(sheet["notes"]) == len(drafted().notes)
    assert [(one["about"], one["aspect"]) for one in sheet["questions"]] == [
        ("n003", "technique"),
        ("n007", "place"),
    ]
    assert sheet["questions"][0]["words"].startswith("Bar 1, beat ")
    assert [note["id"] for note in sheet["notes"] if note["unsure"]] == ["n003", "n007"]
    for bar in sheet["bars"]:
        written = sum(
            (1.5 if piece["dots"] else 1) / piece["value"] * _ratio(bar, piece) for piece in bar["pieces"]
        )
        assert written * 4 == pytest.approx(bar["length"])


def _ratio(bar, piece):
    if piece["tuplet"] is None:
        return 1.0
    actual, normal = bar["tuplets"][piece["tuplet"]]
    return normal / actual


def test_a_question_has_readings_as_written_and_the_moment_close_up(client):
    question = client.get("/api/question", params={"about": "n007"}).json()
    assert question["readings"][0]["key"] == "as_drafted"
    note = next(one for one in drafted().notes if one.id == "n007")
    places = set()
    for reading in question["readings"]:
        shown = next(one for one in reading["notes"] if one["id"] == "n007")
        places.add((shown["string"], shown["fret"]))
        assert shown["pitch_midi"] == note.pitch_midi
        assert reading["bars"][0]["number"] == note.bar
    assert len(places) == len(question["readings"]) > 2
    close = question["closeup"]
    assert close["start_s"] < note.onset_s < close["end_s"]
    trace = next(one for one in close["traces"] if one["id"] == "n007")
    heard = [midi for midi in trace["midi"] if midi is not None]
    assert np.median(heard) == pytest.approx(note.pitch_midi, abs=0.3)
    # It is picked: a stroke lies within two steps of the level from where the note begins.
    assert min(abs(time - note.onset_s) for time in close["strokes_s"]) < 0.03
    assert max(close["level"]["db"]) <= 0.0


def test_a_dead_note_is_seen_close_up_at_its_own_fret():
    """It has no pitch, so the frets around the place where it is damped are the ones to show."""
    draft = drafted()
    note = replace(draft.notes[4], pitch_midi=None, techniques=(Technique("dead_note"),))
    close = closeup_of(draft, (note,), None)
    assert close["at_midi"] - close["open_midi"] == note.fret
    assert closeup_of(draft, (replace(note, string=None, fret=None),), None)["at_midi"] is None
    assert closeup_of(draft, draft.notes[:1], None)["at_midi"] == draft.notes[0].pitch_midi


@pytest.mark.parametrize("query", [{"about": "n999"}, {"about": "n007", "aspect": "colour"}, {}])
def test_a_question_about_nothing_is_refused_in_one_line(client, query):
    answer = client.get("/api/question", params=query)
    assert answer.status_code == 422
    assert "\n" not in answer.text


def test_taking_a_reading_settles_its_question_and_is_in_the_journal_at_once(client, path):
    answer = post(client, "answer", about="n007", aspect="place", reading="string_3", took_s=4.2)
    assert answer.status_code == 200
    assert [one["about"] for one in answer.json()["questions"]] == ["n003"]
    entry = json.loads(journal_path(path).read_text(encoding="utf-8").splitlines()[-1])
    assert entry["action"] == "change_note"
    assert entry["took_s"] == 4.2
    assert read_corrected(path).draft.note("n007").string == 3


def test_one_answer_goes_to_all_questions_alike(tmp_path):
    draft = drafted()
    picked = [note.id for note in draft.notes if not note.techniques][1:9]
    for note_id in picked:
        draft = with_note(draft, note_id, confidence=sureness(onset=0.1))
    path = write(draft, tmp_path)
    desk = Desk(path, None)
    client = TestClient(make_application(desk, PORT, TOKEN), base_url=BASE)
    first = client.get("/api/sheet").json()["questions"][0]
    question = client.get("/api/question", params={"about": first["about"]}).json()
    assert question["alike"] > 0
    answer = post(client, "answer", about=first["about"], reading="as_drafted", alike=True).json()
    assert len(answer["questions"]) == len(picked) - 1 - question["alike"]
    undone = post(client, "undo").json()
    assert len(undone["questions"]) == len(picked)


def test_undo_and_redo_go_back_and_forth_without_limit(client, path):
    for step in range(6):
        fret = read_corrected(path).draft.note("n001").fret
        values = {"fret": fret + (1 if step % 2 else -1)}
        kept = post(client, "keep", corrections=[{"action": "change_note", "note": "n001", "values": values}])
        assert kept.status_code == 200
    after = client.get("/api/sheet").json()["notes"]
    for _ in range(6):
        undone = post(client, "undo").json()
    assert undone["notes"] == Desk(write(read_draft(path), path.parent, "fresh"), None).sheet()["notes"]
    assert not undone["can_undo"]
    assert post(client, "undo").status_code == 422
    for _ in range(6):
        redone = post(client, "redo").json()
    assert redone["notes"] == after
    assert not redone["can_redo"]
    assert read_journal(journal_path(path)).revision == 18


def test_a_new_correction_ends_what_could_be_done_again(client):
    remove = {"action": "remove_note", "note": "n002"}
    assert post(client, "keep", corrections=[remove]).status_code == 200
    assert post(client, "undo").json()["can_redo"]
    kept = post(client, "keep", corrections=[{"action": "remove_note", "note": "n004"}]).json()
    assert not kept["can_redo"]


def test_a_window_that_has_not_seen_the_newest_is_told_and_loses_nothing(client, path):
    seen = client.get("/api/sheet").json()
    assert post(client, "keep", corrections=[{"action": "remove_note", "note": "n002"}]).status_code == 200
    body = {
        "seen": seen["revision"],
        "draft": seen["draft"],
        "corrections": [{"action": "remove_note", "note": "n004"}],
    }
    late = client.post("/api/keep", json=body, headers={"x-transcriber-token": TOKEN})
    assert late.status_code == 409
    assert "n002" not in [note["id"] for note in late.json()["sheet"]["notes"]]
    assert read_journal(journal_path(path)).revision == 1


def test_a_change_that_does_not_fit_is_refused_in_one_line_and_not_kept(client, path):
    for corrections in (
        [{"action": "change_note", "note": "n001", "values": {"fret": 99}}],
        [{"action": "change_note", "note": "n001", "values": {"colour": 1}}],
        [{"action": "remove_note", "note": "n999"}],
        [{"action": "undo"}],
        [{"action": "change_note", "note": "n001", "values": {"beat": "129/128"}}],
        [{"action": "remove_note", "note": "n001"}, {"action": "remove_note", "note": "n001"}],
        "all of them",
        [],
    ):
        answer = post(client, "keep", corrections=corrections)
        assert answer.status_code == 422
        assert "\n" not in answer.json()["error"]
    assert not journal_path(path).exists()


@pytest.mark.parametrize(("kind", "channels"), [("take", 1), ("draft", 1), ("both", 2)])
def test_whole_sounds_lie_on_the_takes_time_and_below_one_decibel(client, kind, channels):
    answer = client.get("/sound/whole", params={"kind": kind})
    sound, rate = soundfile.read(io.BytesIO(answer.content), always_2d=True)
    assert sound.shape[1] == channels
    assert len(sound) / rate == pytest.approx(drafted().source.duration_s, abs=0.01)
    assert np.abs(sound).max() <= 10 ** (-1 / 20) + 1e-4
    assert np.abs(sound).max() > 0.1


def test_sound_is_served_in_the_ranges_asked_for(client):
    whole = client.get("/sound/whole", params={"kind": "take"}).content
    parts = {"bytes=0-99": whole[:100], "bytes=1000-": whole[1000:], "bytes=-50": whole[-50:]}
    for asked, part in parts.items():
        answer = client.get("/sound/whole", params={"kind": "take"}, headers={"range": asked})
        assert answer.status_code == 206
        assert answer.content == part
    beyond = client.get("/sound/whole", params={"kind": "take"}, headers={"range": f"bytes={len(whole)}-"})
    assert beyond.status_code == 416


def test_each_reading_can_be_heard_and_sounds_otherwise(client):
    heard = []
    for key in ("as_drafted", "string_3"):
        query = {"about": "n007", "aspect": "place", "reading": key}
        sound, _ = soundfile.read(io.BytesIO(client.get("/sound/reading", params=query).content))
        heard.append(sound)
    moment, _ = soundfile.read(io.BytesIO(client.get("/sound/moment", params={"about": "n007"}).content))
    assert len(heard[0]) == len(heard[1])
    assert len(heard[0]) / 44100 == pytest.approx(len(moment) / 44100, abs=0.01)
    assert np.abs(heard[0] - heard[1]).max() > 0.01


def test_a_draft_rendered_begins_where_its_notes_are_written(client):
    sound, rate = soundfile.read(io.BytesIO(client.get("/sound/whole", params={"kind": "draft"}).content))
    draft = drafted()
    first = draft.timing.time_of(draft.notes[0].start(draft.meter))
    heard = np.flatnonzero(np.abs(sound) > 0.02)[0] / rate
    assert heard == pytest.approx(first, abs=0.02)


def test_another_recording_than_the_drafts_is_refused(path):
    from transcriber.errors import AudioError

    other = path.with_name("other.wav")
    soundfile.write(other, np.sin(np.arange(44100) * 0.05) * 0.3, 44100)
    with pytest.raises(AudioError, match="not the recording"):
        Desk(path, other)


def test_text_of_a_person_is_given_on_as_text(client):
    nasty = "<img src=x onerror=alert(1)>"
    body = [{"action": "set_remark", "note": "n001", "values": {"remark": nasty}}]
    assert post(client, "keep", corrections=body).json()["notes"][0]["remark"] == nasty
    assert nasty not in client.get("/").text


def test_whatever_is_sent_is_taken_or_refused_in_one_line(tmp_path):
    """Random requests: none ends in anything but a sheet or an error of the program's own."""
    chance = random.Random(8)
    desk = Desk(write(drafted(), tmp_path, take=False), None)
    marks = [{"id": "n002", "onset_s": 1.1, "pitch_midi": 64}]
    odd = [
        None,
        0,
        -1,
        1.5,
        float("inf"),
        float("nan"),
        "x",
        "1/2",
        "1/0",
        [],
        {},
        [None],
        marks,
        True,
        "\ud800",
    ]
    keys = sorted({key for needs in ACTIONS.values() for key in needs.keys})
    kinds = ["refinger", "retime", "downbeat", "rhythm", "x", None]
    asked = ["note", "string", "fret", "tempo_bpm", "meter", "times_s", "bar", "beat", "length"]
    refused = []
    for number in range(60):
        seen = desk.revision()["revision"]
        values = {chance.choice(keys): chance.choice(odd) for _ in range(chance.randrange(5))}
        one = {
            "action": chance.choice(list(ACTIONS)),
            "values": values,
            "note": chance.choice(["n001", "n010", None, 5]),
            "phrase": chance.choice(["p1", None, 5]),
        }
        change = {key: chance.choice(odd) for key in chance.sample(asked, 5)}
        try:
            if number % 3:
                desk.keep({"seen": seen, "corrections": [one]})
            else:
                desk.change({"seen": seen, "kind": chance.choice(kinds), **change})
        except TranscriberError as error:
            refused.append((str(error), seen, desk.revision()["revision"]))
    assert len(refused) > 35
    assert [message for message, _, _ in refused if "\n" in message] == []
    assert all(before == after for _, before, after in refused)
    assert desk.sheet()["revision"] == desk.revision()["revision"]
