"""Photos: from upload to thumbnail, memory of four at once, a page with 500 past photos."""

import hashlib
import http.client
import io
import threading
import time
import uuid
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median

import numpy as np
from PIL import Image

from app.clock import utc_now
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import Component, InspectionPhoto, InspectionStarted
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.services.inspections.photos import keep
from app.store.engine import open_store
from app.store.migrations import upgrade
from app.store.photos import PhotoFolder
from tests.benchmark.load import get_ms, served
from tests.benchmark.shelf import _baths

ROOM = "photos"
POSITION = {"component": "w", "part": "washer", "name": "Washer 1"}
STEP = f"/rooms/{ROOM}/inspections/now/parts/w"
PAST = 500
AT_ONCE = 4


def measure_photos(folder: Path) -> None:
    """Print the times and the memory."""
    now = utc_now()
    place = folder / "photos"
    place.mkdir(parents=True, exist_ok=True)
    _furnish(place, now)
    with served(place) as connection:
        get_ms(connection, STEP)
        rounds = [
            (median(get_ms(connection, STEP) for _ in range(20)),
             median(get_ms(connection, f"/rooms/{ROOM}/parts/w") for _ in range(20)),
             median(get_ms(connection, f"/rooms/{ROOM}") for _ in range(20)))
            for _ in range(5)
        ]  # fmt: skip
        step, part, room = (median(one) for one in zip(*rounds, strict=True))
        print(f"inspection step with {PAST} past photos {step:.1f} ms, part's page {part:.1f} ms;")
        print(f"  room page of the same room {room:.1f} ms")
        times = [upload_s(connection, photo_12mp(seed)) for seed in range(3)]
        print(f"12-megapixel photo, upload to thumbnail: median {median(times):.2f} s")
    print(f"memory of {AT_ONCE} at once: {peak_mb():.0f} MB more")


def photo_12mp(seed: int) -> bytes:
    """A JPEG of 4032 by 3024 with as much detail as a camera's, about 4 MB."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 255, (378, 504, 3), dtype=np.uint8)
    picture = Image.fromarray(coarse).resize((4032, 3024), Image.Resampling.BICUBIC)
    noisy = np.asarray(picture, dtype=np.int16) + rng.integers(-9, 9, (3024, 4032, 1))
    out = io.BytesIO()
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=88)
    return out.getvalue()


def upload_s(connection: http.client.HTTPConnection, content: bytes) -> float:
    """Seconds from sending the form with a photo until its thumbnail has arrived."""
    boundary, digest = uuid.uuid4().hex, hashlib.sha256(content).hexdigest()
    fields = {"washer_lobe_broken": "no", "washer_lobe_cracked": "no", "washer_worn": "yes",
              "by": "Wren", "view": "close", "submission": uuid.uuid4().hex}  # fmt: skip
    parts = [
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in fields.items()
    ]
    head = 'Content-Disposition: form-data; name="photos"; filename="p.jpg"\r\n'
    parts.append(f"--{boundary}\r\n{head}Content-Type: image/jpeg\r\n\r\n")
    body = "".join(parts).encode() + content + f"\r\n--{boundary}--\r\n".encode()
    start = time.perf_counter()
    kind = {"Content-Type": f"multipart/form-data; boundary={boundary}"}
    connection.request("POST", STEP, body, kind)
    answer = connection.getresponse()
    answer.read()
    if answer.status != 303:
        raise RuntimeError(f"the upload was answered with {answer.status}")
    connection.request("GET", f"/rooms/{ROOM}/photos/{digest}/thumb")
    answer = connection.getresponse()
    if answer.status != 200 or not answer.read().startswith(b"\xff\xd8"):
        raise RuntimeError("the thumbnail did not come")
    return time.perf_counter() - start


def peak_mb() -> float:
    """Most resident memory that keeping four photos at once adds, in MB, sampled each 2 ms."""
    import tempfile

    contents = [photo_12mp(100 + n) for n in range(AT_ONCE)]
    with tempfile.TemporaryDirectory() as scratch:
        folder = PhotoFolder(Path(scratch))
        before, most, done = _resident_mb(), 0.0, threading.Event()

        def watch() -> None:
            nonlocal most
            while not done.is_set():
                most = max(most, _resident_mb())
                time.sleep(0.002)

        watcher = threading.Thread(target=watch)
        watcher.start()
        threads = [threading.Thread(target=keep, args=(folder, io.BytesIO(c))) for c in contents]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        done.set()
        watcher.join()
    return most - before


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * 4096 / 2**20


def _furnish(place: Path, now: datetime) -> None:
    store = open_store(f"sqlite:///{place / 'bathkeeper.sqlite3'}")
    upgrade(store)
    done = place / "made"
    if not done.exists():
        add_room(store, RoomForm(name="Photos", key=ROOM), now)
        record(store, ROOM, list(_baths(now)), now)
        record(store, ROOM, _past(now), now)
        done.touch()
    store.close()


def _past(now: datetime) -> list[Entry]:
    start = now - timedelta(days=8)
    entries: list[Entry] = [Component(at=start, tank="t0", fitted_at=start, **POSITION)]
    for number in range(PAST):
        at = start + timedelta(minutes=10 * number)
        key = f"past-{number // 10}"
        if number % 10 == 0:
            entries.append(
                InspectionStarted(at=at, inspection=key, tank="t0", positions=[POSITION])
            )
        digest = hashlib.sha256(str(number).encode()).hexdigest()
        entries.append(
            InspectionPhoto(at=at, inspection=key, component="w", photo=digest, view="close")
        )
    entries.append(InspectionStarted(at=now, inspection="now", tank="t0", positions=[POSITION]))
    return entries
