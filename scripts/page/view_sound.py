"""Listen: taps and plucked notes of what the model predicts, in pairs of one loudness.

Depends on fem, scripts/page/session, and on scripts/page/sounds once something is asked for. Making the models ready is
a task; from these a pair takes a fifth of a second. Sounds are WAV files in memory, the last `KEPT` of them.
"""

import hashlib
import io
import json
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.units import MM, cents, note, note_frequency
from bracedtop.scripts.page.session import Session

if TYPE_CHECKING:
    import numpy as np

    from bracedtop.scripts.page.sounds import BoxSounds, TopSounds

KEPT = 60
"""Sounds kept in memory; chosen: some twenty megabytes."""

TAP_LENGTH = 1.5
"""Length of a tap, s; chosen."""

N_TOLD = 8
"""Modes that are told in figures."""

WHAT = ("top", "box")
TASK = "sound"


@dataclass(slots=True)
class Shelf:
    """WAV files by name, the oldest dropped first."""

    files: "OrderedDict[str, bytes]" = field(default_factory=OrderedDict)
    lock: Lock = field(default_factory=Lock)

    def put(self, content: bytes) -> str:
        """Keep a file; its name."""
        name = f"{secrets.token_hex(8)}.wav"
        with self.lock:
            self.files[name] = content
            while len(self.files) > KEPT:
                self.files.popitem(last=False)
        return name

    def get(self, name: str) -> bytes | None:
        """A file by its name, None if it is gone."""
        with self.lock:
            return self.files.get(name)


def state(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """What can be listened to, and whether it is ready."""
    case = session.case()
    design = case.design
    found: dict[str, Any] = {
        "top": _readiness(session, "top"),
        "box": _readiness(session, "box"),
        "has_box": case.box is not None,
        "outline": _line(design.outline.polygon.exterior.coords),
        "holes": [_line(ring.coords) for ring in design.region.interiors],
        "braces": [(brace.path / MM).round(1).tolist() for brace in design.braces],
        "bridge": [round(float(x) / MM, 1) for x in design.driving_point],
        "strikes": ["knuckle", "fingertip"],
    }
    box: BoxSounds | None = _made(session, "box")
    if box is not None and box.charts:
        found["board"] = _board(box)
    return found


def prepare(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Begin to make a top or a box ready, unless it is."""
    from bracedtop.scripts.page.sounds import box_sounds, top_sounds

    what = _what(message)
    if what == "box" and session.case().box is None:
        error = "top.toml describes no closed box; add [sides] and [back]"
        raise DesignError(error)
    readiness = _readiness(session, what)
    if not readiness["is_running"] and (not readiness["is_ready"] or readiness["is_old"]):
        held = session.document
        work, words = (top_sounds, "the loose top's sound") if what == "top" else (box_sounds, "the box's sound")
        session.tasks.start(
            f"{TASK}/{what}",
            words,
            held.revision,
            work,
            session.folder,
            held.tables,
            held.drawing,
            digest(session, what),
        )
    return {}


def sound_pair(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Two versions of one sound, of one loudness: where they are, and what was done to them."""
    import soundfile

    from bracedtop.fem.listen import RATE
    from bracedtop.fem.loudness_match import matched

    what = _what(message)
    made = _made(session, what)
    if made is None:
        error = "the model is not ready to be heard; make it ready first"
        raise DesignError(error)
    names = [str(message["a"]), str(message["b"])]
    labels = {one.id: one.label for one in made.versions}
    for name in names:
        if name not in labels:
            error = f'version "{name[:40]}" is not there; must be one of: {", ".join(labels)}'
            raise DesignError(error)
    if message["kind"] == "note":
        if what != "box":
            error = "a loose top has no strings; choose the closed box"
            raise DesignError(error)
        sounds, about = _notes(made, names, message)
    else:
        sounds, about = _taps(what, made, names, message)
    equal = matched(sounds, RATE)
    addresses = []
    shelf: Shelf = session.memory.setdefault("sound/shelf", Shelf())
    for samples in equal.sounds:
        stream = io.BytesIO()
        soundfile.write(stream, samples, RATE, subtype="PCM_16", format="WAV")
        addresses.append(f"sound/{shelf.put(stream.getvalue())}")
    return {
        "addresses": addresses,
        "labels": [labels[name] for name in names],
        "raised_db": list(equal.gains),
        "loudness": equal.loudness,
        "seconds": len(equal.sounds[0]) / RATE,
        **about,
    }


def wav(request: Request) -> Response:
    """A sound that was made."""
    shelf: Shelf | None = request.app.state.session.memory.get("sound/shelf")
    content = None if shelf is None else shelf.get(request.path_params["name"])
    if content is None:
        return Response("this sound is no longer kept; play it again", status_code=404, media_type="text/plain")
    return Response(content, media_type="audio/wav", headers={"Cache-Control": "no-store"})


def _taps(
    what: str, made: "TopSounds | BoxSounds", names: list[str], message: dict[str, Any]
) -> "tuple[list[np.ndarray], dict[str, Any]]":
    import numpy as np

    from bracedtop.fem.heard import heard_at
    from bracedtop.fem.listen import FINGERTIP, KNUCKLE, tap_sound
    from bracedtop.fem.loose_sound import tapped_at

    at = message.get("at")
    place = None if at is None else np.array([float(at[0]), float(at[1])]) * MM
    if place is not None and not np.isfinite(place).all():
        error = "the place of a tap needs two numbers"
        raise DesignError(error)
    pulse = {"knuckle": KNUCKLE, "fingertip": FINGERTIP}.get(str(message.get("strike")), KNUCKLE)
    found, facts = [], []
    for name in names:
        if what == "top":
            heard = tapped_at(made.tops[name], place)  # type: ignore[union-attr]
            measured = made.tops[name].is_measured  # type: ignore[union-attr]
        else:
            box = made.boxes[name]  # type: ignore[union-attr]
            heard = box.body.heard if place is None else heard_at(box, place)
            measured = np.zeros(len(heard.frequencies), dtype=bool)
        found.append(tap_sound(heard, pulse, duration=TAP_LENGTH))
        told = zip(heard.frequencies[:N_TOLD], heard.loss[:N_TOLD], measured[:N_TOLD], strict=True)
        facts.append([_mode_fact(float(f), float(eta), bool(known)) for f, eta, known in told])
    return found, {"modes": facts, "place": heard.place}


def _mode_fact(hz: float, loss: float, is_measured: bool) -> dict[str, Any]:
    name, off = note(hz)
    return {
        "hz": hz,
        "note": name,
        "cents": off,
        "t60": 2.2 / (hz * loss) if loss > 0 else None,
        "is_measured": is_measured,
    }


def _notes(made: "BoxSounds", names: list[str], message: dict[str, Any]) -> "tuple[list[np.ndarray], dict[str, Any]]":
    from bracedtop.fem.listen import plucked_note

    string, fret = int(message["string"]), int(message["fret"])
    if not (0 <= string < len(made.strings) and 0 <= fret <= made.n_frets):
        error = f"string {string + 1}, fret {fret}: there are {len(made.strings)} strings and frets 0 to {made.n_frets}"
        raise DesignError(error)
    length = made.scale_length * 2.0 ** (-fret / 12.0)
    found = [plucked_note(made.boxes[name].body, made.strings[string], length) for name in names]
    charts = [made.charts[name] for name in names]
    facts = [
        {
            "t60": float(chart.decay_time[string, fret]),
            "early": float(chart.early_decay_time[string, fret]),
            "weak": _weak_words(chart, string, fret),
        }
        for chart in charts
    ]
    first = float(charts[0].nominal[string, fret])
    return found, {"notes": facts, "note": _note_name(first), "place": made.boxes[names[0]].body.heard.place}


def _board(box: "BoxSounds") -> dict[str, Any]:
    """The fingerboard for the page: strings from the bass side, frets, how long each note sounds and what is wrong."""
    import numpy as np

    name = box.versions[0].id
    chart = box.charts[name]
    rows = []
    for i, string in enumerate(chart.strings):
        frets = range(chart.decay_time.shape[1])
        rows.append(
            {
                "name": string,
                "notes": [_note_name(float(chart.nominal[i, fret])) for fret in frets],
                "t60": chart.decay_time[i].round(3).tolist(),
                "weak": [_weak_words(chart, i, fret) for fret in frets],
            }
        )
    return {"strings": rows, "n_frets": box.n_frets, "middle": float(np.median(chart.decay_time))}


def _weak_words(chart: Any, string: int, fret: int) -> str:
    words = [
        word
        for word, is_so in (("wolf", chart.wolf), ("short", chart.short), ("soft", chart.soft))
        if is_so[string, fret]
    ]
    return ", ".join(words)


def _note_name(hz: float) -> str:
    name, _ = note(hz)
    return name if abs(cents(hz, note_frequency(name))) <= 50 else f"{hz:.0f} Hz"


def _readiness(session: Session, what: str) -> dict[str, Any]:
    made = _made(session, what)
    running = next((one for one in session.tasks.unfinished() if one.name == f"{TASK}/{what}"), None)
    return {
        "is_ready": made is not None,
        "is_old": made is not None and made.digest != digest(session, what),
        "is_running": running is not None,
        "versions": [] if made is None else [{"id": v.id, "label": v.label, "words": v.words} for v in made.versions],
        "notes": [] if made is None else list(made.notes),
    }


def _made(session: Session, what: str) -> Any:
    task = session.tasks.finished(f"{TASK}/{what}")
    return None if task is None else task.result


def digest(session: Session, what: str) -> str:
    """Of all that the sounds of a top or a box depend on."""
    held = session.document
    seen: list[Any] = [held.tables, held.drawing]
    if what == "top":
        files = [session.folder / "out" / "plan" / "cut.csv", *session.folder.glob("pass*/cut.csv")]
        files += [session.folder / "taps.csv", session.folder / "taps.toml", *session.folder.glob("taps/*")]
        for path in sorted(files):
            try:
                stat = path.stat()
            except OSError:
                continue
            seen.append([path.name, stat.st_mtime_ns, stat.st_size])
    return hashlib.sha256(json.dumps(seen, sort_keys=True, default=str).encode()).hexdigest()


def _what(message: dict[str, Any]) -> str:
    what = str(message["what"])
    if what not in WHAT:
        error = f'"{what[:40]}" cannot be listened to; must be one of: {", ".join(WHAT)}'
        raise DesignError(error)
    return what


def _line(points: Any) -> list[list[float]]:
    return [[round(float(x) / MM, 1), round(float(y) / MM, 1)] for x, y in points]


HANDLERS = {"sound/state": state, "sound/prepare": prepare, "sound/pair": sound_pair}
ROUTES = [Route("/sound/{name}", wav)]
