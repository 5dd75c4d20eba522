"""Imports from the browser: the file kept in the data folder, read and stored in the background.

A file waits under a token until it is stored or a day old. What is under way is kept in memory;
after a restart the file is read again, and storing it a second time stores nothing new.
"""

import json
import re
import secrets
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Literal

from app.domain.errors import DomainError, NotFound
from app.services.importing.importing import Preview, check_file, store_checked
from app.services.importing.tables import TableOptions
from app.services.importing.textfiles import examine, looks_like_json
from app.store.engine import Store
from app.store.troubles import explained

KEPT_S = 24 * 3600.0
TOKEN = re.compile(r"[A-Za-z0-9_-]{22}")

Clock = Callable[[], datetime]
Work = Callable[[], None]
State = Literal["checking", "checked", "storing", "stored", "failed"]


@dataclass
class Job:
    """An import on its way.

    Attributes:
        name: of the file, as it was called on the tablet.
        options: how a table is read; None for JSON Lines.
        phase, done, total: what is going on and how far it is.
        message: why it failed, or what changed since it was shown.
    """

    room: str
    token: str
    name: str
    options: TableOptions | None
    state: State = "checking"
    phase: str = "Reading"
    done: int = 0
    total: int = 0
    preview: Preview | None = None
    message: str = ""
    stored: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def is_running(self) -> bool:
        """Something is going on in the background."""
        return self.state in ("checking", "storing")

    def progress(self, phase: str, done: int, total: int) -> None:
        """Note how far it is."""
        self.phase, self.done, self.total = phase, done, total


class Imports:
    """The imports of one program."""

    def __init__(self, store: Store, folder: Path, clock: Clock) -> None:
        self._store = store
        self._folder = folder
        self._clock = clock
        self._jobs: dict[str, Job] = {}

    def take(self, room: str, name: str, content: BinaryIO) -> Job:
        """Keep an uploaded file and begin to read it."""
        self._folder.mkdir(parents=True, exist_ok=True)
        self._forget_old()
        token = secrets.token_urlsafe(16)
        with self._path(token).open("wb") as file:
            shutil.copyfileobj(content, file)
        job = Job(room, token, name[:120], self._first_options(token))
        self._note(job)
        return self._begin(job)

    def find(self, room: str, token: str) -> Job:
        """The import of that token.

        Raises:
            NotFound: there is none in this room, or no longer.
        """
        job = self._jobs.get(token)
        if job is None and TOKEN.fullmatch(token) and self._path(token, ".json").exists():
            job = self._begin(self._noted(token))
        if job is None or job.room != room:
            raise NotFound("This import is no longer here. Give the file again.")
        return job

    def read_again(self, job: Job, options: TableOptions) -> None:
        """Read the table as the person says."""
        with job.lock:
            if job.is_running or job.state == "stored":
                return
            job.options, job.message = options, ""
            self._note(job)
            self._begin(job)

    def store(self, job: Job, skip_bad: bool) -> None:
        """Store what was shown; a second call while it runs, or after it, does nothing."""
        with job.lock:
            if job.state != "checked" or job.preview is None:
                return
            if job.preview.bad_lines and not skip_bad:
                job.message = (
                    "Some lines do not fit. Say that they are to be left out, or mend them."
                )
                return
            job.state, job.message = "storing", ""
        self._run(job, lambda: self._store_checked(job, skip_bad))

    def _begin(self, job: Job) -> Job:
        self._jobs[job.token] = job
        job.state = "checking"
        self._run(job, lambda: self._check(job))
        return job

    def _run(self, job: Job, work: Work) -> None:
        def guarded() -> None:
            try:
                work()
            except (DomainError, OSError) as error:
                job.message = getattr(error, "message", str(error))
                job.state = "failed"
            except Exception as error:
                trouble = explained(error)
                said = trouble or "Something went wrong here."
                job.message = f"{said} Nothing was stored."
                job.state = "failed"
                if trouble is None:
                    raise

        threading.Thread(target=guarded, name=f"import {job.token}", daemon=True).start()

    def _check(self, job: Job) -> None:
        path = self._path(job.token)
        checked = check_file(self._store, job.room, path, self._clock(), job.options, job.progress)
        job.preview = checked.preview
        job.state = "checked"

    def _store_checked(self, job: Job, skip_bad: bool) -> None:
        path, now = self._path(job.token), self._clock()
        checked = check_file(self._store, job.room, path, now, job.options, job.progress)
        shown = job.preview
        if shown is not None and checked.preview.bad_lines != shown.bad_lines:
            job.preview, job.state = checked.preview, "checked"
            job.message = "The room has changed since this was shown. Look at the lines again."
            return
        submission = f"import-{job.token}"
        done = store_checked(
            self._store, job.room, checked, now, submission, skip_bad, job.progress
        )
        job.stored = len(done.ids)
        job.state = "stored"
        self._remove(job.token)

    def _first_options(self, token: str) -> TableOptions | None:
        try:
            is_json = looks_like_json(examine(self._path(token)))
        except DomainError:
            is_json = True  # reading it says what is wrong
        return None if is_json else TableOptions()

    def _path(self, token: str, ending: str = ".upload") -> Path:
        return self._folder / f"{token}{ending}"

    def _note(self, job: Job) -> None:
        options = None if job.options is None else asdict(job.options)
        noted = {"room": job.room, "name": job.name, "options": options}
        self._path(job.token, ".json").write_text(json.dumps(noted), encoding="utf-8")

    def _noted(self, token: str) -> Job:
        noted = json.loads(self._path(token, ".json").read_text(encoding="utf-8"))
        options = noted["options"] and TableOptions(**noted["options"])
        return Job(noted["room"], token, noted["name"], options)

    def _remove(self, token: str) -> None:
        for ending in (".upload", ".json"):
            self._path(token, ending).unlink(missing_ok=True)

    def _forget_old(self) -> None:
        oldest_s = time.time() - KEPT_S  # noqa: TID251 - files are dated by the machine's own clock
        for path in self._folder.glob("*.upload"):
            if path.stat().st_mtime < oldest_s:
                self._remove(path.stem)
                self._jobs.pop(path.stem, None)
