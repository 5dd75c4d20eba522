"""A figure and its unit stay on one line (SI Brochure, 9th edition, 5.4.3: a space separates them;
that no line is broken there is common practice in typesetting).
"""

import pytest
from fastapi.testclient import TestClient

from app.web.unbroken import KEEPER, unbroken
from tests.factories import ROOM


@pytest.mark.parametrize(
    "text",
    [
        "19.5~L",
        "2~×~18.9~L",
        "±~0.4~%",
        "Thu~3~Dec",
        "since Sat~12:03",
        "9~days",
        "<b>5</b>~kg",
        "5~<small>L</small>",
    ],
)
def test_a_figure_keeps_to_what_it_counts(text: str) -> None:
    assert unbroken(f"<p>{text.replace('~', ' ')}</p>") == f"<p>{text.replace('~', KEEPER)}</p>"


@pytest.mark.parametrize(
    "text",
    [
        "<p>5 Lots</p>", "<p>Drum 2, then 3 more</p>", '<p title="5 L">x</p>',
        "<textarea>5 L</textarea>", "<script>5 L</script>", "<pre>5 L</pre>",
        '<input value="5 L">', "<p>5 mm</p>".replace("mm", "mmm"),
    ],
)  # fmt: skip
def test_what_is_no_unit_and_what_was_typed_stays_as_it_is(text: str) -> None:
    assert unbroken(text) == text


def test_a_page_is_sent_so(client: TestClient) -> None:
    assert f"{KEEPER}%" in client.get(f"/rooms/{ROOM}/tanks/t1").content.decode()
    form = f"/rooms/{ROOM}/tanks/t1/log/top-up"
    typed = client.post(form, data={"volume_l": "5 L x"}).content.decode()
    assert 'value="5 L x"' in typed  # as it was typed
