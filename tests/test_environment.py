"""The settings: what is read, what is refused, and that one place knows them all."""

import re
from pathlib import Path

import pytest

from app.config import Mail, Settings, from_environment
from app.domain.errors import DomainError
from app.environment import VARIABLES
from tests.running import ROOT
from tests.settings_page import PAGE, written

SECRET = "hunter-two-and-more"


def test_without_any_the_defaults_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("BATHKEEPER_CLOCK_AHEAD_S", raising=False)
    assert from_environment() == Settings()
    for name in VARIABLES:
        monkeypatch.setenv(name, "")
    assert from_environment() == Settings()


def test_the_command_line_comes_before_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BATHKEEPER_DATA", "/srv/rooms")
    assert from_environment().data_dir == Path("/srv/rooms")
    assert from_environment(Path("here")).data_dir == Path("here")


@pytest.mark.parametrize(
    "text, is_on", [("on", True), (" On ", True), ("yes", True), ("1", True), ("OFF", False)]
)
def test_sign_in_is_a_switch(monkeypatch: pytest.MonkeyPatch, text: str, is_on: bool) -> None:
    monkeypatch.setenv("BATHKEEPER_SIGN_IN", text)
    assert from_environment().sign_in is is_on


@pytest.mark.parametrize(
    "name, text, says",
    [
        ("SIGN_IN", "maybe", "BATHKEEPER_SIGN_IN is “maybe”. Give on or off."),
        ("IDLE_MINUTES", "soon", "BATHKEEPER_IDLE_MINUTES is “soon”. Give minutes"),
        ("IDLE_MINUTES", "0", "at least 0.5"),
        ("IDLE_MINUTES", "inf", "Give minutes"),
        ("BACKUP_HOURS", "nan", "BATHKEEPER_BACKUP_HOURS is “nan”. Give hours"),
        ("BACKUP_HOURS", "-1", "from 0.25 to 8760"),
        ("METRICS_TOKEN", SECRET, "BATHKEEPER_METRICS_TOKEN is not right. It needs 20 characters"),
        ("SMTP", "mail.example:port", "BATHKEEPER_SMTP is not the address of a mail server. Give"),
        ("SMTP", "mail.example:25", "BATHKEEPER_MAIL_TO is empty, and BATHKEEPER_SMTP is not."),
        ("SMTP_PASSWORD", SECRET, "BATHKEEPER_SMTP_USER is empty"),
        ("AT", "baths", "BATHKEEPER_AT is “baths”. Give a path that begins with /"),
        ("AT", "/baths/", "does not end with one"),
        ("AT", "/../x", "Give a path"),
        ("AT", "//elsewhere.example", "Give a path"),
        ("AT", "/a\"onload='x'", "Give a path"),
        ("LOG", "yaml", "Give warnings, plain or json."),
        ("DATABASE", "mysql://room.example/books", "BATHKEEPER_DATABASE is not the address of"),
        ("DATABASE", "postgresql://room.example/books", "BATHKEEPER_DATABASE is not the address"),
        ("DATABASE", "sqlite+aiosqlite:///books", "BATHKEEPER_DATABASE is not the address of"),
        ("CLOCK_AHEAD_S", "tomorrow", "Give the seconds"),
        ("HOST", "x", "There is no setting BATHKEEPER_HOST. Did you mean BATHKEEPER_HOSTS?"),
        ("COLOUR", "x", "There is no setting BATHKEEPER_COLOUR."),
    ],
)
def test_what_is_no_value_is_refused_with_what_to_do(
    monkeypatch: pytest.MonkeyPatch, name: str, text: str, says: str
) -> None:
    monkeypatch.setenv(f"BATHKEEPER_{name}", text)
    with pytest.raises(DomainError) as error:
        from_environment()
    assert says in str(error.value)
    assert SECRET not in str(error.value)
    assert len(str(error.value).splitlines()) == 1


def test_all_that_is_wrong_is_said_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BATHKEEPER_LOG", "x" * 5000)
    monkeypatch.setenv("BATHKEEPER_SIGN_IN", "x")
    monkeypatch.setenv("BATHKEEPER_SINGIN", "off")
    with pytest.raises(DomainError) as error:
        from_environment()
    lines = str(error.value).splitlines()
    assert len(lines) == 3
    assert max(map(len, lines)) < 200


def test_no_secret_is_shown_by_the_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    long = f"{SECRET}-and-more"
    for name in ("METRICS_TOKEN", "SMTP_PASSWORD", "PHOTOS_SECRET"):
        monkeypatch.setenv(f"BATHKEEPER_{name}", long)
    for name, text in {"SMTP": "mail.example", "MAIL_TO": "a@b.test, c@b.test", "SMTP_USER": "u",
                       "PHOTOS": "s3://room-photos", "PHOTOS_KEY": "k"}.items():  # fmt: skip
        monkeypatch.setenv(f"BATHKEEPER_{name}", text)
    found = from_environment()
    assert long not in repr(found)
    assert found.metrics_token == long
    assert found.mail == Mail("mail.example", 25, "a@b.test", ("a@b.test", "c@b.test"), "u", long)


@pytest.mark.parametrize("name", ["DATABASE", "SMTP", "PHOTOS", "PHOTOS_ENDPOINT"])
def test_an_address_that_is_refused_is_not_repeated_with_its_password(
    monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    scheme = "postgresql://" if name == "DATABASE" else ""
    monkeypatch.setenv(f"BATHKEEPER_{name}", f"{scheme}joe:{SECRET}@mail.example:port")
    with pytest.raises(DomainError) as error:
        from_environment()
    assert f"BATHKEEPER_{name} is not" in str(error.value)
    assert SECRET not in str(error.value)


def test_the_page_of_settings_is_as_it_would_be_written() -> None:
    page = PAGE.read_text("utf-8")
    assert written(page) == page, "run python -m tests.settings_page"


def test_one_place_reads_the_environment() -> None:
    """And no page, unit or message names a setting that there is not."""
    allowed = {"environment.py", "clock.py"}
    for path in (ROOT / "app").rglob("*.py"):
        text = path.read_text("utf-8")
        if "installation" not in path.parts and path.name not in allowed:
            assert "os.environ" not in text, path
            assert "getenv" not in text, path
    others = {"BATHKEEPER_CHROMIUM"}
    texts = [*(ROOT / "app").rglob("*.py"), *(ROOT / "docs").rglob("*.md"), ROOT / "README.md"]
    for path in texts:
        for name in re.findall(r"BATHKEEPER_[A-Z][A-Z_]*[A-Z]", path.read_text("utf-8")):
            assert name in VARIABLES or name in others or name.startswith("BATHKEEPER_TEST"), path
