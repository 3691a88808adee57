"""The page's guard: no path leaves the case, no stranger asks, nothing is uploaded that is not what it says."""

import io
import json
import stat
import string
import sys

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from bracedtop.geometry.errors import FileError
from bracedtop.scripts.page.guard import (
    Door,
    Guard,
    clean_name,
    clean_step,
    door_of,
    free_path,
    inside,
    keep_door,
    keep_new,
    picture_ending,
    sound_ending,
)

hostile = st.lists(
    st.sampled_from(
        ["..", ".", "", "taps", "%2e%2e", "C:", "~", ".bracedtop", "con", "a.wav", "\\", "..\\..", "\x00", "a b"]
    )
    | st.text(max_size=8),
    min_size=1,
    max_size=5,
).map("/".join) | st.text(max_size=30)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("outer") / "case"
    (made / "taps").mkdir(parents=True)
    (made / ".bracedtop").mkdir()
    (made / "taps" / "a.wav").write_bytes(b"x")
    (made.parent / "secret.wav").write_bytes(b"secret")
    return made


@given(hostile)
def test_no_name_leads_out_of_the_case(folder, name):
    try:
        path = inside(folder, name)
    except FileError:
        return
    assert path.is_relative_to(folder.resolve())
    assert path != folder.resolve()
    assert not any(part.startswith(".") for part in path.relative_to(folder.resolve()).parts)


@pytest.mark.parametrize(
    "name", ["taps/a.wav", "top.toml", "pass-2/taps/lower bout.wav", "photographs/Decke außen.jpg"]
)
def test_plain_names_are_found(folder, name):
    assert inside(folder, name) == folder.resolve() / name


@pytest.mark.parametrize(
    "name",
    ["", "/", "../secret.wav", "/etc/passwd", "taps/../../secret.wav", ".bracedtop/page.json", "taps/.hidden", "a//b",
     "C:/x", "C:\\x", "a\x00b", "taps/", "nul", "CON.wav", "a\nb", "x" * 300, "a:b", "a ", "a."],
)  # fmt: skip
def test_other_names_are_refused(folder, name):
    with pytest.raises(FileError):
        inside(folder, name)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_links_out_of_the_case_are_refused(tmp_path):
    case = tmp_path / "case"
    case.mkdir()
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "a.wav").write_bytes(b"x")
    (case / "taps").symlink_to(tmp_path / "outside")
    (case / "b.wav").symlink_to(tmp_path / "outside" / "a.wav")
    (case / "round").symlink_to(case / "round")
    (case / "c.wav").symlink_to(case / "there.wav")
    for name in ("taps/a.wav", "b.wav", "taps/new.wav", "round", "round/x"):
        with pytest.raises(FileError):
            inside(case, name)
    assert inside(case, "c.wav") == (case / "there.wav").resolve()


@given(st.text(max_size=200), st.sampled_from([".wav", ".jpg"]))
def test_a_clean_name_is_a_name_in_the_folder(folder, text, ending):
    name = clean_name(text, ending)
    assert name.endswith(ending)
    assert inside(folder, name).parent == folder.resolve()
    assert clean_name(name, ending) == name


@given(st.text(max_size=60))
def test_cleaning_is_done_once(text):
    assert clean_step(clean_step(text)) == clean_step(text)


@pytest.mark.parametrize(
    ("given_name", "kept"),
    [
        ("lower bout.wav", "lower bout.wav"),
        ("C:\\taps\\x.WAV", "x.wav"),
        ("../../x.wav", "x.wav"),
        ("..", "unnamed.wav"),
        ("", "unnamed.wav"),
        ("tap.2.wav", "tap.2.wav"),
        ("a.html", "a.wav"),
        ("con.wav", "_con.wav"),
        (".hidden", "hidden.wav"),
        ("a<b>|c?.wav", "a-b--c-.wav"),
    ],
)
def test_names_of_uploads(given_name, kept):
    assert clean_name(given_name, ".wav") == kept


def test_nothing_is_written_over(tmp_path):
    first = keep_new(tmp_path / "taps" / "a.wav", b"1")
    second = keep_new(tmp_path / "taps" / "a.wav", b"2")
    assert (first.name, second.name) == ("a.wav", "a 2.wav")
    assert first.read_bytes() == b"1"
    assert free_path(first).name == "a 3.wav"


def sound(format: str, subtype: str, n: int = 100, rate: int = 44_100) -> bytes:
    stream = io.BytesIO()
    soundfile.write(stream, np.zeros(n), rate, format=format, subtype=subtype)
    return stream.getvalue()


def picture(format: str) -> bytes:
    stream = io.BytesIO()
    Image.new("RGB", (4, 3)).save(stream, format=format)
    return stream.getvalue()


def test_recordings_are_known_by_their_content():
    assert sound_ending(sound("WAV", "PCM_16")) == ".wav"
    assert sound_ending(sound("WAV", "FLOAT")) == ".wav"
    assert sound_ending(sound("FLAC", "PCM_24")) == ".flac"


@pytest.mark.parametrize(
    "content",
    [b"", b"x" * 500, b"<html><script>1</script>", picture("PNG"), sound("OGG", "VORBIS"), sound("WAV", "PCM_16", 0),
     sound("WAV", "PCM_16", rate=2000), sound("WAV", "PCM_16")[:20]],
)  # fmt: skip
def test_what_is_no_recording_is_refused(content):
    with pytest.raises(FileError):
        sound_ending(content)


@given(st.binary(max_size=200), st.sampled_from([b"", b"RIFF", b"fLaC", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff\xe0"]))
def test_no_content_does_harm(tail, head):
    for ending in (sound_ending, picture_ending):
        try:
            assert ending(head + tail).startswith(".")
        except FileError:
            continue


def test_pictures_are_known_by_their_content():
    assert picture_ending(picture("PNG")) == ".png"
    assert picture_ending(picture("JPEG")) == ".jpg"
    for content in (b"", b"GIF89a", picture("GIF"), picture("BMP"), picture("PNG")[:40], sound("WAV", "PCM_16")):
        with pytest.raises(FileError):
            picture_ending(content)


def test_a_picture_of_too_many_pixels_is_refused():
    stream = io.BytesIO()
    Image.new("1", (9_000, 9_000)).save(stream, format="PNG")
    assert len(stream.getvalue()) < 1_000_000
    with pytest.raises(FileError):
        picture_ending(stream.getvalue())


def test_the_door_stays_and_is_its_owners_alone(tmp_path):
    first = door_of(tmp_path)
    assert len(first.token) >= 32
    assert first.port == 0
    assert door_of(tmp_path).token != first.token
    keep_door(tmp_path, Door(first.token, 40_001))
    assert door_of(tmp_path) == Door(first.token, 40_001)
    if sys.platform != "win32":
        assert stat.S_IMODE((tmp_path / ".bracedtop" / "page.json").stat().st_mode) == 0o600


OTHER_DOORS = ["", "[]", "{}", "null", '{"token": "x", "port": 1}', '{"token": 5, "port": 1}']
OTHER_DOORS += [json.dumps({"token": "a" * 32, "port": port}) for port in ("80", -1, 65536)]


@pytest.mark.parametrize("content", OTHER_DOORS)
def test_a_damaged_door_is_made_anew(tmp_path, content):
    (tmp_path / ".bracedtop").mkdir()
    (tmp_path / ".bracedtop" / "page.json").write_text(content)
    assert door_of(tmp_path).token not in ("x", "a" * 32)


TOKEN = "t" * 32
GUARD = Guard(None, Door(TOKEN, 8000))  # type: ignore[arg-type]


def refused(path=f"/{TOKEN}/", method="GET", kind="http", **headers):
    given_headers = {"host": "127.0.0.1:8000", **headers}
    raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in given_headers.items()]
    found = GUARD.refusal({"type": kind, "path": path, "method": method, "headers": raw})
    return None if found is None else found[0]


def test_who_may_ask():
    own = "http://127.0.0.1:8000"
    assert refused() is None
    assert refused(host="localhost:8000") is None
    assert refused(host="evil.example") == 400
    assert refused(host="127.0.0.1") == 400
    assert refused(host="127.0.0.1:8001") == 400
    assert refused("/") == 404
    assert refused(f"/{TOKEN[:-1]}/") == 404
    assert refused("/é/") == 404
    assert refused(kind="websocket") == 403
    assert refused(kind="websocket", origin="http://evil.example") == 403
    assert refused(kind="websocket", origin="http://127.0.0.1:8001") == 403
    assert refused(kind="websocket", origin="null") == 403
    assert refused(kind="websocket", origin=own) is None
    assert refused(method="POST") == 403
    assert refused(method="POST", origin="https://evil.example") == 403
    assert refused(method="POST", origin=own) is None
    assert refused(origin="http://evil.example") == 403


@given(st.text(alphabet=string.printable, max_size=50))
def test_no_other_token_opens(path):
    if not path.startswith(f"{TOKEN}/"):
        assert refused("/" + path) == 404


def test_the_headers_hold_no_door_open():
    policy = dict(GUARD.headers)[b"content-security-policy"].decode()
    assert "unsafe" not in policy
    assert "*" not in policy
    assert json.dumps(policy).count("http:") == 0
