"""Imports from the browser: the file kept in the data folder, read and stored in the background.

A file waits under a token until it is stored or a day old. What is under way is kept in memory,
and how far it is noted for other servers on the same database, which show that until it is read.
After a restart the file is read again, and storing it a second time stores nothing new.
"""

import json
import re
import secrets
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import BinaryIO, Literal, cast

from app.domain.errors import DomainError, NotFound
from app.services.changes import Progress
from app.services.gently import gently
from app.services.importing.importing import check_file, store_checked
from app.services.importing.previews import Preview
from app.services.importing.storing import Origin, Stopped, ask_to_stop
from app.services.importing.tables import Question, TableOptions, UnclearTable
from app.services.importing.textfiles import UnreadableFile, examine, looks_like_json
from app.services.importing.undoing import undo
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.import_jobs import cancel_job, forget_jobs, note_job, tell_job, told_job
from app.store.imports import QUIET_FOR
from app.store.instants import from_us
from app.store.sessions import reading
from app.store.troubles import explained

KEPT_S = 24 * 3600.0
TOLD_EVERY_S = 1.0
RUNNING = ("checking", "storing")
TOKEN = re.compile(r"[A-Za-z0-9_-]{22}")

Clock = Callable[[], datetime]
Work = Callable[[], None]
State = Literal["checking", "asking", "checked", "storing", "stored", "stopped", "failed"]


class Cancelled(DomainError):
    """Somebody let go of it while it was read."""


@dataclass
class Job:
    """An import on its way.

    Attributes:
        name: of the file, as it was called on the tablet.
        options: how a table is read; None for JSON Lines.
        by: who gave it.
        is_led: a lead has it stored.
        phase, done, total: what is going on and how far it is.
        questions: what has to be said before the table can be read.
        message: why it failed or stopped, or what changed since it was shown.
        stored: how many entries are in; `run` is what the import is called in the database.
        is_elsewhere: another server is at it, or stored it; this is what that one said last.
    """

    room: str
    token: str
    name: str
    options: TableOptions | None
    by: str = ""
    state: State = "checking"
    phase: str = "Reading"
    done: int = 0
    total: int = 0
    preview: Preview | None = None
    questions: tuple[Question, ...] = ()
    message: str = ""
    stored: int = 0
    run: str = ""
    is_cancelled: bool = False
    is_elsewhere: bool = False
    is_led: bool = False
    told_s: float = 0.0
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def is_running(self) -> bool:
        """Something is going on in the background."""
        return self.state in RUNNING

    def progress(self, phase: str, done: int, total: int) -> None:
        """Note how far it is.

        Raises:
            Cancelled: while the file is read, somebody let go of it.
        """
        if self.is_cancelled and self.state == "checking":
            raise Cancelled("Stopped. Nothing was stored.")
        self.phase, self.done, self.total = phase, done, total


class Imports:
    """The imports of one program."""

    def __init__(self, store: Store, folder: Path, clock: Clock) -> None:
        self._store = store
        self._folder = folder
        self._clock = clock
        self._jobs: dict[str, Job] = {}
        self._undone: dict[str, str] = {}
        self._me = secrets.token_hex(8)

    def take(self, room: str, name: str, content: BinaryIO, by: str = "") -> Job:
        """Keep an uploaded file and begin to read it."""
        self._folder.mkdir(parents=True, exist_ok=True)
        self._forget_old()
        token = secrets.token_urlsafe(16)
        with self._path(token).open("wb") as file:
            shutil.copyfileobj(content, file)
        job = Job(room, token, name[:120], self._first_options(token), by)
        self._note(job)
        return self._begin(job)

    def find(self, room: str, token: str) -> Job:
        """The import of that token.

        Raises:
            NotFound: there is none in this room, or no longer.
        """
        job = self._elsewhere(room, token) or self._jobs.get(token)
        if job is None and TOKEN.fullmatch(token) and self._path(token, ".json").exists():
            job = self._begin(self._noted(token))
        if job is None or job.room != room:
            raise NotFound("This import is no longer here. Upload the file again.")
        return job

    def read_again(self, job: Job, options: TableOptions) -> None:
        """Read the table as the person says."""
        with job.lock:
            if job.is_running or job.state == "stored":
                return
            job.options, job.message = options, ""
            self._note(job)
            self._begin(job)

    def has_file(self, token: str) -> bool:
        """Whether the file of an import is still here."""
        return bool(TOKEN.fullmatch(token)) and self._path(token).exists()

    def stop(self, job: Job) -> bool:
        """Let go of a file that is read, or have storing stop; whether anything is left of it."""
        with job.lock:
            if job.state in ("storing", "stored", "stopped"):
                ask_to_stop(self._store, job.room, job.token, self._clock())
                return True
            job.is_cancelled = True
            if job.is_elsewhere:
                cancel_job(self._store, job.token)
                return False
            self._jobs.pop(job.token, None)
            self._remove(job.token)
            return False

    def undo(self, room: str, token: str, by: str) -> None:
        """Begin to take an import back; a second call while it goes on does nothing."""
        if self._undone.get(token) == "":
            return
        self._undone[token] = ""

        def work() -> None:
            try:
                with gently():
                    undo(self._store, room, token, by, self._clock)
                del self._undone[token]
            except DomainError as error:
                self._undone[token] = getattr(error, "message", str(error))
            except Exception:
                self._undone[token] = "Something went wrong here. Try again."
                raise

        threading.Thread(target=work, name=f"undo {token}", daemon=True).start()

    def undoing(self, token: str) -> str | None:
        """What is said of taking an import back: empty while it goes on, None where nothing is."""
        return self._undone.get(token)

    def store(self, job: Job, skip_bad: bool, is_led: bool = False) -> None:
        """Store what was shown; a second call while it runs, or after it, does nothing."""
        with job.lock:
            if job.state not in ("checked", "stopped") or job.preview is None:
                return
            job.is_led = is_led
            if job.preview.bad_lines and not skip_bad:
                job.message = "Some lines do not fit. Leave them out, or fix them."
                return
            job.state, job.message = "storing", ""
        self._run(job, lambda: self._store_checked(job, skip_bad))

    def _begin(self, job: Job) -> Job:
        self._jobs[job.token] = job
        job.state = "checking"
        self._run(job, lambda: self._check(job))
        return job

    def _elsewhere(self, room: str, token: str) -> Job | None:
        """An import that another server is at, or has stored, as it said last."""
        if self._store.is_sqlite:
            return None
        with reading(self._store) as session:
            row = told_job(session, token)
            if row is None or row.owner == self._me or row.room_id != find_room(session, room).id:
                return None
        is_going_on = (
            row.state in RUNNING and from_us(row.touched_at_us) > self._clock() - QUIET_FOR
        )
        if not is_going_on and row.state != "stored":
            return None
        name = self._noted(token).name if self._path(token, ".json").exists() else ""
        return Job(
            room, token, name, None, state=cast(State, row.state), phase=row.phase, done=row.done,
            total=row.total, stored=row.stored, run=row.run, is_elsewhere=True,
        )  # fmt: skip

    def _progress(self, job: Job) -> Progress:
        def told(phase: str, done: int, total: int) -> None:
            is_new = phase != job.phase
            job.progress(phase, done, total)
            if is_new or time.monotonic() > job.told_s + TOLD_EVERY_S:
                self._tell(job)

        return told

    def _tell(self, job: Job) -> None:
        """Note how far it is; hear whether somebody let go of it at another server."""
        job.told_s = time.monotonic()
        job.is_cancelled |= tell_job(
            self._store, job.token, self._me, self._clock(), state=job.state, phase=job.phase,
            done=job.done, total=job.total, stored=job.stored, run=job.run,
        )  # fmt: skip

    def _run(self, job: Job, work: Work) -> None:
        with reading(self._store) as session:
            room_id = find_room(session, job.room).id or 0
        note_job(self._store, job.token, room_id, self._me, self._clock(), job.state)

        def guarded() -> None:
            try:
                with gently():
                    work()
            except UnclearTable as error:
                job.questions, job.state = error.questions, "asking"
            except Cancelled:
                self._jobs.pop(job.token, None)
                self._remove(job.token)
                forget_jobs(self._store, self._clock(), job.token)
            except Stopped as error:
                job.message, job.state = str(error), "stopped"
            except UnreadableFile as error:
                job.message, job.state = str(error), "failed"
                self._path(job.token).unlink(missing_ok=True)
            except (DomainError, OSError) as error:
                job.message = getattr(error, "message", str(error))
                job.state = "checked" if job.state == "storing" else "failed"
            except Exception as error:
                trouble = explained(error)
                is_storing = job.state == "storing"
                left = "What is in stays." if is_storing else "Nothing was stored."
                job.message = f"{trouble or 'Something went wrong here.'} {left}"
                job.state = "stopped" if is_storing else "failed"
                if trouble is None:
                    raise
            finally:
                self._tell(job)

        threading.Thread(target=guarded, name=f"import {job.token}", daemon=True).start()

    def _check(self, job: Job) -> None:
        path = self._path(job.token)
        checked = check_file(
            self._store, job.room, path, self._clock(), job.options, self._progress(job)
        )
        job.preview, job.questions = checked.preview, ()
        job.state = "checked"

    def _store_checked(self, job: Job, skip_bad: bool) -> None:
        path, now = self._path(job.token), self._clock()
        checked = check_file(self._store, job.room, path, now, job.options, self._progress(job))
        shown = job.preview
        if shown is not None and _asks(checked.preview) != _asks(shown):
            job.preview, job.state = checked.preview, "checked"
            job.message = "The room has changed since this was shown. Check the lines again."
            return
        origin = Origin(token=job.token, name=job.name, by=job.by, is_led=job.is_led)
        done = store_checked(
            self._store, job.room, checked, self._clock, origin, skip_bad, self._progress(job)
        )
        job.stored, job.run = done.count, done.token
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
        noted = {"room": job.room, "name": job.name, "options": options, "by": job.by}
        self._path(job.token, ".json").write_text(json.dumps(noted), encoding="utf-8")

    def _noted(self, token: str) -> Job:
        noted = json.loads(self._path(token, ".json").read_text(encoding="utf-8"))
        options = noted["options"] and TableOptions(**noted["options"])
        return Job(noted["room"], token, noted["name"], options, noted.get("by", ""))

    def _remove(self, token: str) -> None:
        for ending in (".upload", ".json"):
            self._path(token, ending).unlink(missing_ok=True)

    def _forget_old(self) -> None:
        oldest_s = time.time() - KEPT_S  # noqa: TID251 - files are dated by the machine's own clock
        forget_jobs(self._store, self._clock() - timedelta(seconds=KEPT_S))
        for path in self._folder.glob("*.upload"):
            if path.stat().st_mtime < oldest_s:
                self._remove(path.stem)
                self._jobs.pop(path.stem, None)


def _asks(preview: Preview) -> tuple[int, tuple[str, ...]]:
    """What somebody has to say yes to before it is stored."""
    return preview.bad_lines, preview.decided
