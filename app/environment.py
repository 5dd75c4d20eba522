"""The settings: each variable of the environment in one typed place, checked when a command starts.

docs/settings.md is written from this file (`python -m tests.settings_page`).
"""

import os
from difflib import get_close_matches
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, SecretStr, StringConstraints
from pydantic import ValidationError as Invalid
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from app.domain.errors import DomainError

PREFIX = "BATHKEEPER_"
OTHERS = ("BATHKEEPER_TEST", "BATHKEEPER_CHROMIUM")
"""What is set for the tests and for the set-up, and is no setting of the program."""
LEAST_TOKEN = 20  # characters
LONGEST_SHOWN = 80  # characters of a value that is refused
FARTHEST_CLOCK_S = 50 * 366 * 86400
"""No trial is further off than fifty years: a typing slip is."""
# Names of buckets: three to 63 small letters, digits, dots, hyphens (documentation of S3, "General
# purpose bucket naming rules", from memory). Folders without "..", nor anything that needs quoting.
STORAGE = r"^s3://[a-z0-9][a-z0-9.-]{1,61}[a-z0-9](/[A-Za-z0-9_-][A-Za-z0-9._-]*)*/?$"
ENDPOINT = r"^https?://[A-Za-z0-9.\[\]:-]+/?$"
DAY_H, IDLE_MINUTES = 24.0, 30.0
DRIVERS = ("sqlite", "postgresql+psycopg")
# A host or address, with a port if it is not the usual one of SMTP (RFC 5321, section 4.5.4.2: 25).
SERVER = r"^[A-Za-z0-9._-]+(:\d{1,5})?$"
# Segments of a path (RFC 3986, section 3.3), of what needs no escape; none is empty, "." or "..".
BELOW = r"^(/[A-Za-z0-9_~-][A-Za-z0-9._~-]*)+$"


def _listed(text: object) -> object:
    if not isinstance(text, str):
        return text
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _stripped(text: object) -> object:
    return text.strip() if isinstance(text, str) else text


def _unguessable(token: SecretStr) -> SecretStr:
    text = token.get_secret_value().strip()
    if len(text) < LEAST_TOKEN or not text.isascii() or not text.isprintable():
        raise ValueError
    return SecretStr(text)


Names = Annotated[tuple[str, ...], NoDecode, BeforeValidator(_listed)]
Switch = Annotated[bool, BeforeValidator(_stripped)]


def _setting(says: str, fix: str, default: Any = None, **bounds: Any) -> Any:
    """A setting: what it does, and what to do where its value is none."""
    return Field(default=default, description=says, json_schema_extra={"fix": fix}, **bounds)


def _of_a_database(address: str) -> str:
    from sqlalchemy.engine import make_url  # noqa: PLC0415 - most commands name no database
    from sqlalchemy.exc import ArgumentError  # noqa: PLC0415 - as above

    try:
        driver = make_url(address).drivername
    except ArgumentError:
        driver = ""
    if driver not in DRIVERS:
        raise ValueError("no database that is known here")
    return address


class Environment(BaseSettings):
    """The variables by their names behind `BATHKEEPER_`; an empty one counts as not set."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, env_ignore_empty=True, extra="forbid", frozen=True,
        hide_input_in_errors=True, str_strip_whitespace=True,
    )  # fmt: skip

    data: str = _setting("folder of the database and the photos", "Give a folder.", "data")
    database: Annotated[str, AfterValidator(_of_a_database)] | None = _setting(
        "another database by its address, as postgresql+psycopg://user@host/database",
        "is not the address of a database. Give it as postgresql+psycopg://user@host/database.",
    )
    hosts: Names = _setting(
        "names and addresses, separated by commas, that pages may be asked for under besides "
        "this machine's own",
        "Give names or addresses, separated by commas.", (),
    )  # fmt: skip
    at: Annotated[str, StringConstraints(pattern=BELOW, max_length=200)] | None = _setting(
        "path that a reverse proxy serves the program below, as /baths",
        "Give a path that begins with / and does not end with one, such as /baths.",
    )
    sign_in: Switch | None = _setting(
        "whether people sign in; not set: once the site has a manager", "Give on or off."
    )
    idle_minutes: float = _setting(
        "minutes after which a tablet left alone asks for the PIN again",
        "Give minutes, at least 0.5.", IDLE_MINUTES, ge=0.5, le=1e6, allow_inf_nan=False,
    )  # fmt: skip
    metrics_token: Annotated[SecretStr, AfterValidator(_unguessable)] | None = _setting(
        f"what a monitor sends to read /metrics; {LEAST_TOKEN} characters or more",
        f"It needs {LEAST_TOKEN} characters or more, all ASCII.",
    )
    log: Literal["warnings", "plain", "json"] = _setting(
        "what the log says: warnings and errors only; plain, a line for each request too; json, "
        "all of that in JSON Lines",
        "Give warnings, plain or json.", "warnings",
    )  # fmt: skip
    log_file: str | None = _setting(
        "file that the log is written to, instead of the standard error; after 10 MB a new one "
        "begins, and five old ones stay",
        "Give a file.",
    )
    backups: str | None = _setting(
        "folder that backups are written to on schedule; not set: none", "Give a folder."
    )
    backup_hours: float = _setting(
        "hours from one backup to the next", "Give hours, from 0.25 to 8760.",
        DAY_H, ge=0.25, le=8760, allow_inf_nan=False,
    )  # fmt: skip
    summaries: str | None = _setting(
        "folder that the summary of each week is written to; not set: none", "Give a folder."
    )
    smtp: Annotated[str, StringConstraints(pattern=SERVER)] | None = _setting(
        "mail server that the summaries are sent by, as host:port; goes with BATHKEEPER_MAIL_TO",
        "is not the address of a mail server. Give it as host:port, such as mail.example:587.",
    )
    smtp_user: str | None = _setting(
        "user at the mail server, which must then offer encryption", "Give a name."
    )
    smtp_password: SecretStr | None = _setting("password of that user", "Give a password.")
    mail_to: Names = _setting(
        "who gets the summaries, separated by commas", "Give addresses, separated by commas.", ()
    )
    mail_from: str | None = _setting(
        "who writes them; not set: the first of those who get them", "Give an address."
    )
    photos: Annotated[str, StringConstraints(pattern=STORAGE)] | None = _setting(
        "object storage that photos lie in, as s3://bucket/folder; not set: the data folder",
        "is not the address of an object storage. Give it as s3://bucket/folder.",
    )
    photos_endpoint: Annotated[str, StringConstraints(pattern=ENDPOINT)] | None = _setting(
        "address of the storage's server, where its library does not know it",
        "is not the address of a server. Give it as https://storage.example.",
    )
    photos_key: str | None = _setting("name of the key that opens the bucket", "Give a key.")
    photos_secret: SecretStr | None = _setting("secret of that key", "Give a secret.")
    clock_ahead_s: float = _setting(
        "seconds that the program's clock is ahead of the machine's, negative for the past; for a "
        "trial on another day",
        "Give the seconds by which the clock is ahead, such as 86400 for tomorrow, or leave it "
        "unset.",
        0.0, ge=-FARTHEST_CLOCK_S, le=FARTHEST_CLOCK_S, allow_inf_nan=False,
    )  # fmt: skip


VARIABLES = {f"{PREFIX}{name.upper()}": name for name in Environment.model_fields}
GO_TOGETHER = (
    ("photos_key", "photos_secret"), ("photos_secret", "photos_key"),
    ("smtp", "mail_to"), ("mail_to", "smtp"), ("smtp_password", "smtp_user"),
    ("smtp_user", "smtp_password"), ("smtp_user", "smtp"), ("mail_from", "mail_to"),
)  # fmt: skip
"""The first needs the second."""


def read(**instead: str) -> Environment:
    """The settings as the environment has them, and some of the command line's instead.

    Raises:
        DomainError: some are none, or unknown: in words, all at once; no secret is repeated.
    """
    wrong = [_unknown(name) for name in sorted(os.environ) if _is_unknown(name)]
    try:
        found = Environment(**instead)  # type: ignore[arg-type]
    except Invalid as error:
        fields = dict.fromkeys(str(one["loc"][0]) for one in error.errors())
        raise DomainError("\n".join([*wrong, *map(_refusal, fields)])) from None
    wrong += [
        f"{_name(missing)} is empty, and {_name(given)} is not. Set both or neither."
        for given, missing in GO_TOGETHER
        if getattr(found, given) and not getattr(found, missing)
    ]
    if wrong:
        raise DomainError("\n".join(wrong))
    return found


def fix_of(name: str) -> str:
    """What to do where a setting's value is none."""
    extra = Environment.model_fields[name].json_schema_extra
    assert isinstance(extra, dict)
    return str(extra["fix"])


def is_secret(name: str) -> bool:
    """Whether its value is never shown."""
    return "SecretStr" in str(Environment.model_fields[name].annotation)


def _name(field: str) -> str:
    return f"{PREFIX}{field.upper()}"


def _refusal(field: str) -> str:
    name, fix = _name(field), fix_of(field)
    if fix.startswith("is "):
        return f"{name} {fix}"
    if is_secret(field):
        return f"{name} is not right. {fix}"
    return f"{name} is “{os.environ.get(name, '')[:LONGEST_SHOWN]}”. {fix}"


def _is_unknown(name: str) -> bool:
    return name.startswith(PREFIX) and name not in VARIABLES and not name.startswith(OTHERS)


def _unknown(name: str) -> str:
    near = get_close_matches(name, VARIABLES, 1)
    meant = f"Did you mean {near[0]}? " if near else ""
    return f"There is no setting {name[:LONGEST_SHOWN]}. {meant}docs/settings.md lists all."
