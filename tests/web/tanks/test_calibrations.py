"""The refractometer calibration: typed as lines, stored as an entry, used for readings."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Calibration
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from app.web.tanks.points import points_text, read_points
from tests.factories import NOW, ROOM

PAGE = f"/rooms/{ROOM}/calibrations"
PREVIEW = f"/rooms/{ROOM}/tanks/t1/preview"
TYPED = {
    "solvent": "isopropanol",
    "scale": "index",
    "points": "1,3772; 0\n1.3890;10\n",
    "by": "Wren",
    "submission": "c1",
}
"""1.3772 is isopropanol at 20 C (1.3776 when pure, from memory); the other
figure is made up."""


def stored(store: Store) -> list[EntryRow]:
    with Session(store.reader) as session:
        query = select(EntryRow).where(EntryRow.kind == "calibration")
        return list(session.exec(query).all())


def preview(client: TestClient, **values: str) -> str:
    asked = {"method": "refractometer", "temperature_c": "20", **values}
    return client.get(PREVIEW, params=asked).text


def test_it_is_stored_and_shown(client: TestClient, store: Store) -> None:
    answer = client.post(PAGE, data=TYPED)
    assert answer.status_code == 200
    (row,) = stored(store)
    assert row.by == "Wren"
    assert row.fields == (
        '{"solvent":"isopropanol","scale":"index","points":[[1.3772,0.0],[1.389,10.0]]}'
    )
    for words in ("1.3772: 0.0 %", "1.389: 10.0 %", "in use", "Wren", "two samples"):
        assert words in answer.text


def test_readings_are_converted_with_it(client: TestClient) -> None:
    """Halfway between two samples a straight line gives the mean of their saturations."""
    halfway = "1.3831"
    assert "this is rough" in preview(client, index=halfway)
    client.post(PAGE, data=TYPED)
    shown = preview(client, index=halfway)
    assert "<strong>5.0 %</strong>" in shown
    assert "this is rough" not in shown


def test_the_form_sent_twice_counts_once(client: TestClient, store: Store) -> None:
    client.post(PAGE, data=TYPED)
    client.post(PAGE, data=TYPED)
    assert len(stored(store)) == 1


def test_the_latest_of_a_solvent_is_in_use_and_a_withdrawn_one_is_gone(
    client: TestClient, store: Store
) -> None:
    client.post(PAGE, data=TYPED | {"at": "2026-03-01T08:00"})
    brix = {"scale": "brix_percent", "points": "28; 0\n31,5; 8\n36; 18", "submission": "c2"}
    page = client.post(PAGE, data=TYPED | brix).text
    assert page.count("in use") == 1
    assert page.index("28.0: 0.0 %") < page.index("in use") + 400
    assert page.index("28.0: 0.0 %") < page.index("1.3772: 0.0 %")
    assert "samples off it by" in page
    latest = next(row for row in stored(store) if "brix" in row.fields)
    client.post(f"/rooms/{ROOM}/entries/{latest.uid}/withdraw", data={"submission": "w"})
    page = client.get(PAGE).text
    assert "28.0: 0.0 %" not in page
    assert page.count("in use") == 1


@pytest.mark.parametrize(
    "typed,message",
    [
        ({"points": "28; 0\nforty; 10\n33 15"}, "Line 2:"),
        ({"points": "28; 0\nforty; 10\n33 15"}, "Line 3: Write the scale value, a semicolon"),
        ({"points": "\n\n28; 0\n\n30; 101"}, "Line 3: The resin must be between 0 and 100 %."),
        ({"points": "28; 0"}, "Give 2 to 50 samples"),
        ({"points": ""}, "missing"),
        ({"points": "28; 0\n30; 12\n33; 9"}, "rise or fall steadily"),
        ({"points": "28; 0\n28; 12"}, "rise or fall steadily"),
        ({"points": "28; 0\n95; 12"}, "goes from 0 to 85; 95 cannot be read on it"),
        ({"points": "28; 0\n30; nan"}, "Line 2:"),
        ({"solvent": "sea water"}, "letters, digits"),
        ({"solvent": "brine"}, "not in the solvent table"),
        ({"scale": "colour"}, "must be one of"),
        ({"at": "2027-01-01T08:00"}, "future"),
    ],
)
def test_what_does_not_fit_is_said_and_what_was_typed_stays(
    client: TestClient, store: Store, typed: dict[str, str], message: str
) -> None:
    whole = TYPED | {"scale": "brix_percent", "points": "28; 0\n30; 12"} | typed
    answer = client.post(PAGE, data=whole)
    assert answer.status_code == 422
    assert message in html.unescape(answer.text)
    kept = re.search(r"<textarea[^>]*>(.*?)</textarea>", answer.text, re.DOTALL)
    assert kept is not None
    assert html.unescape(kept[1]).split() == whole["points"].split()
    assert stored(store) == []


def test_the_message_stands_beside_the_samples(client: TestClient) -> None:
    page = client.post(PAGE, data=TYPED | {"points": "1.37; x"}).text
    assert re.search(r'id="e-points" role="alert">Line 1: ', page)
    assert re.search(r'<textarea[^>]*aria-describedby="h-points e-points"', page)


def test_an_imported_one_that_contradicts_itself_is_named(client: TestClient, store: Store) -> None:
    points = ((28.0, 0.0), (30.0, 9.0), (33.0, 5.0))
    entry = Calibration(at=NOW, solvent="isopropanol", scale="brix_percent", points=points)
    record(store, ROOM, [entry], NOW)
    page = client.get(PAGE).text
    assert "the samples contradict each other" in page
    assert "in use" not in page


def test_a_calibration_can_be_corrected(client: TestClient, store: Store) -> None:
    client.post(PAGE, data=TYPED)
    entry = f"/rooms/{ROOM}/entries/{stored(store)[0].uid}"
    assert "1.3772; 0\n1.389; 10</textarea>" in client.get(f"{entry}/correct").text
    fixed = {"solvent": "isopropanol", "scale": "index", "points": "1.3772; 0\n1.3890; 20"}
    assert client.post(f"{entry}/correct", data=fixed | {"submission": "k"}).status_code == 200
    assert "1.389: 20.0 %" in client.get(PAGE).text
    assert "<strong>10.0 %</strong>" in preview(client, index="1.3831")


def test_a_comma_is_always_the_decimal_one() -> None:
    """A refractive index of three decimals looks like thousands elsewhere, but cannot be here."""
    assert read_points("1,377 ; 0\n1,389\t12,5 %\n") == ((1.377, 0.0), (1.389, 12.5))
    with pytest.raises(FieldError):
        read_points("1.000,5; 0\n2; 1")


def test_points_are_read_back_as_they_were_written() -> None:
    points = ((1.3772, 0.0), (1.38905, 12.5))
    assert read_points(points_text(points)) == points
