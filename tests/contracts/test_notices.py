"""What others wrote is named with its licence, as the lock and the vendored files have it."""

from tests.contracts.notices import PAGE, licence_of, locked, page


def test_the_page_names_what_is_locked_and_vendored() -> None:
    assert PAGE.read_text("utf-8") == page(), "python -m tests.contracts.notices writes it anew"


def test_every_package_states_a_licence() -> None:
    names = {name for name, _, marker in locked() if "win32" not in marker}
    assert len(names) > 30
    for name in names:
        assert licence_of(name) not in ("", "not stated", "UNKNOWN"), name
