"""Hostile and broken input at the doors, as a table: what is sent, and what is answered.

Each answer is in words, short, without a trace of the program, and never 5xx. What the texts do
elsewhere: OWASP's cheat sheets (XSS filter evasion, SQL injection, path traversal, CSV injection),
RFC 8259 for JSON, RFC 3339 for times, RFC 9110 for headers; the Unicode examples are of UTR 36.
"""

import re
import resource
import sys
import uuid
from collections.abc import Iterator
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

from app.config import Settings
from app.main import create_app
from tests.factories import NOW, ROOM, furnish
from tests.furnished import prepare

API = f"/api/v1/rooms/{ROOM}"
OWN_WORDS = re.compile(r"sys\.|utf-8-sig|int_max_str")
LARGEST_BYTES = 400_000
MOST_MB_MORE = 300.0

TEXTS = {
    "script": "<script>alert(1)</script>",
    "image": '"><img src=x onerror=alert(1)>',
    "svg": "<svg/onload=alert(1)>",
    "attribute": '" onmouseover="alert(1)',
    "link": "javascript:alert(1)",
    "comment": "<!--",
    "cdata": "]]>",
    "entity": "&lt;script&gt;&#x3c;",
    "template": "{{ 7*7 }}",
    "template block": "{% for x in ().__class__.__bases__ %}",
    "format": "{0.__class__}",
    "percent": "%s%n%x",
    "sql": "' OR '1'='1",
    "sql end": "'; DROP TABLE entry; --",
    "sql union": "x' UNION SELECT 1 --",
    "like": "%_%",
    "escape": "\\",
    "quotes": "'\"`",
    "shell": "$(reboot) `id` | ls ; &",
    "log4": "${jndi:ldap://127.0.0.1/a}",
    "path": "../../../../etc/passwd",
    "windows path": "..\\..\\boot.ini",
    "encoded path": "%2e%2e%2fetc%2fpasswd",
    "formula": "=cmd|' /C calc'!A0",
    "formula behind": "a;=1+1",
    "header": "x\r\nSet-Cookie: a=b",
    "newline": "a\nb",
    "null": "a\0b",
    "bell": "\a",
    "escape code": "\x1b[2J",
    "delete": "\x7f",
    "c1": "\x85",
    "right to left": "\u202egnp.exe",
    "zero width": "a\u200bb",
    "bom": "\ufeffa",
    "combining": "Z" + "\u0301" * 60,
    "surrogate pair": "\U0001f9ea",
    "private": "\ue000",
    "noncharacter": "\ufdd0",
    "tags": "\U000e0041",
    "line separator": "a\u2028b",
    "full width": "＝１",
    "homoglyph": "аdmin",
    "turkish": "İ",
    "eszett": "ß" * 79,
    "spaces": " " * 50,
    "nbsp": "\u00a0",
    "empty": "",
    "long": "x" * 5000,
    "none": "null",
    "true": "true",
    "object": "[object Object]",
    "number": "1e309",
    "nan": "NaN",
}

ADDRESSES = {
    "find": f"/rooms/{ROOM}/find?q={{}}",
    "lot": f"/rooms/{ROOM}/lots/record?lot={{}}",
    "log": f"/rooms/{ROOM}/log?q={{}}",
    "tank": f"/rooms/{ROOM}/tanks/{{}}",
    "room": "/rooms/{}",
    "entry": f"{API}/entries/{{}}",
    "postings": f"{API}/litres/postings?account={{}}",
    "cursor": f"{API}/entries?before={{}}",
    "sign-in": "/sign-in?who={}&back={}",
}

BODIES = {
    "nothing": (b"", 422),
    "no json": (b"kind=wash", 400),
    "half": (b'{"kind": "wash"', 400),
    "a list": (b"[]", 422),
    "a number": (b"1", 422),
    "a text": (b'"wash"', 422),
    "null": (b"null", 422),
    "twice": (b'{"kind":"wash","kind":"swap","tank":"t1"}', 400),
    "nan": (b'{"kind":"wash","tank":"t1","resin":"slate","area_cm2":NaN}', 400),
    "infinity": (b'{"kind":"wash","tank":"t1","resin":"slate","area_cm2":-Infinity}', 400),
    "comma": (b'{"kind":"wash",}', 400),
    "comments": (b'{/* */"kind":"wash"}', 400),
    "latin-1": (b'{"kind":"\xe9"}', 400),
    "cut utf-8": (b'{"kind":"\xc3', 400),
    "utf-16": ('{"kind":"wash"}'.encode("utf-16"), 400),
    "bom": (b'\xef\xbb\xbf{"kind":"wash"}', 400),
    "lone surrogate": (b'{"kind":"wash","note":"\\ud800"}', 422),
    "deep list": (b"[" * 20_000 + b"]" * 20_000, 400),
    "deep object": (b'{"a":' * 5_000 + b"1" + b"}" * 5_000, 400),
    "many fields": (b"{" + b",".join(b'"f%d":1' % n for n in range(5_000)) + b"}", 422),
    "long digits": (b'{"kind":"wash","area_cm2":' + b"9" * 10_000 + b"}", 400),
    "unknown kind": (b'{"kind":"format_disk"}', 422),
    "kind is a list": (b'{"kind":["wash"]}', 422),
    "prototype": (
        b'{"kind":"wash","tank":"t1","resin":"slate","area_cm2":1,"__proto__":{"a":1}}',
        422,
    ),
    "dunder": (b'{"kind":"wash","tank":"t1","resin":"slate","area_cm2":1,"__class__":"x"}', 422),
    "tank is an object": (b'{"kind":"wash","tank":{"$ne":""},"resin":"slate","area_cm2":1}', 422),
    "true for a number": (b'{"kind":"wash","tank":"t1","resin":"slate","area_cm2":true}', 422),
}

NUMBERS = (
    "-1",
    "0",
    "-0.0",
    "1e309",
    "-1e309",
    "1e-400",
    "0x10",
    "1_000",
    "١٢",
    "１２",
    "1,5,5",
    "--1",
    "1e",
    "e1",
    "∞",
    "NaN",
    "½",
    "1 000 000 000 000",
    "+",
    ".",
    "9" * 400,
    "1;2",
    "1\u20282",
    "=1+1",
    "null",
    "[1]",
)

TIMES = (
    "now",
    "0",
    "-1",
    "2026-02-30T10:00:00Z",
    "2026-13-01T10:00:00Z",
    "2026-03-02T25:00:00Z",
    "2026-03-02",
    "2026-03-02T10:00:00",
    "2026-03-02T10:00:00+99:00",
    "9999-12-31T23:59:59Z",
    "0001-01-01T00:00:00Z",
    "2026-03-02T10:00:60Z",
    "2026-W10-1T10:00:00Z",
    "٢٠٢٦-03-02T10:00:00Z",
    "2026-03-02T10:00:00.0000000001Z",
    "1e9",
    "2026-03-02t10:00:00 z",
    "../now",
    "2026-03-02T10:00:00Z\n",
    "2199-01-01T00:00:00Z",
)

HEADERS = {
    "many tags": {"If-None-Match": ",".join(['"a"'] * 300)},
    "odd tag": {"If-None-Match": "W/\"'<script>"},
    "star": {"If-None-Match": "*"},
    "long cookie": {"Cookie": "person=" + "a" * 4000},
    "odd cookie": {"Cookie": "person=%00%ff; sign_in=../../x"},
    "many cookies": {"Cookie": "; ".join(f"c{n}=1" for n in range(300))},
    "token": {"Authorization": "Bearer " + "x" * 4000},
    "basic": {"Authorization": "Basic ////"},
    "type": {"Accept": "application/../../x"},
    "language": {"Accept-Language": "*;q=9" * 100},
    "encoding": {"Accept-Encoding": "gzip;q=nan"},
    "range": {"Range": "bytes=0-,1-,2-,3-"},
    "forwarded": {"X-Forwarded-Host": "evil.test", "X-Forwarded-For": "' OR 1=1"},
    "method": {"X-HTTP-Method-Override": "DELETE"},
    "htmx": {"HX-Request": "true", "HX-Current-URL": "javascript:alert(1)"},
    "referer": {"Referer": "http://evil.test/<script>"},
}


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """One room for all of it: what is sent must not add up either."""
    folder = tmp_path_factory.mktemp("hostile")
    prepare(folder)
    app = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    furnish(app.state.store)
    with TestClient(app, base_url="http://room.test", raise_server_exceptions=False) as client:
        yield client


@pytest.fixture(scope="module", autouse=True)
def _memory_is_bounded() -> Iterator[None]:
    """Peak memory of this process: `ru_maxrss` is in kilobytes on Linux (getrusage(2))."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    assert not sys.platform.startswith("linux") or grown_mb < MOST_MB_MORE


def hold(answer: Response, text: str = "") -> None:
    """What is true of every answer."""
    assert answer.status_code < 500
    assert len(answer.content) < LARGEST_BYTES
    assert "Traceback" not in answer.text
    assert 'File "' not in answer.text
    assert not OWN_WORDS.search(answer.text), "the program's own inside"
    assert "set-cookie" not in {name for name in answer.headers if "a=b" in answer.headers[name]}
    is_page = answer.headers.get("content-type", "").startswith("text/html")
    if is_page and "<" in text:
        assert text not in answer.text


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("address", ADDRESSES)
def test_text_in_an_address(room: TestClient, address: str, name: str) -> None:
    text = TEXTS[name]
    path = ADDRESSES[address].replace("{}", quote(text, safe=""))
    answer = room.get(path, follow_redirects=False)
    hold(answer, text)
    assert answer.status_code in (200, 303, 307, 404, 422)
    assert "evil" not in answer.headers.get("location", "")
    assert not answer.headers.get("location", "/").startswith(("//", "javascript"))


@pytest.mark.parametrize("name", TEXTS)
def test_text_in_a_note_is_stored_as_it_is_or_refused_beside_its_field(
    room: TestClient, name: str
) -> None:
    text = TEXTS[name]
    uid = uuid.uuid4().hex
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 900, "note": text}
    wash["id"] = uid
    answer = room.post(f"{API}/entries", json=wash)
    hold(answer, text)
    assert answer.status_code in (201, 422)
    if answer.status_code == 422:
        assert [one["field"] for one in answer.json()["errors"]] == ["note"]
        return
    read = room.get(f"{API}/entries/{uid}").json()["entry"]
    assert read.get("note", "") == text.replace("\r\n", "\n").strip()
    hold(room.get(f"/rooms/{ROOM}/log"), text)


@pytest.mark.parametrize("name", TEXTS)
def test_text_in_a_form_is_stored_or_shown_again(room: TestClient, name: str) -> None:
    form = {"resin": TEXTS[name], "parts": TEXTS[name], "by": TEXTS[name], "note": TEXTS[name]}
    answer = room.post(f"/rooms/{ROOM}/tanks/t1/log/wash", data=form, follow_redirects=False)
    hold(answer, TEXTS[name])
    assert answer.status_code == 422, "no such resin"


@pytest.mark.parametrize("name", BODIES)
def test_a_broken_body(room: TestClient, name: str) -> None:
    content, status = BODIES[name]
    headers = {"Content-Type": "application/json"}
    answer = room.post(f"{API}/entries", content=content, headers=headers)
    hold(answer)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("number", NUMBERS)
def test_a_number_that_is_none(room: TestClient, number: str) -> None:
    """Also what is a number and cannot be: minus one part, parts beyond all bounds."""
    form = {"resin": "slate", "parts": number}
    answer = room.post(f"/rooms/{ROOM}/tanks/t1/log/wash", data=form, follow_redirects=False)
    hold(answer)
    assert answer.status_code == 422
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": number}
    answer = room.post(f"{API}/entries", json=wash)
    hold(answer)
    assert answer.status_code == 422


@pytest.mark.parametrize("time", TIMES)
def test_a_time_that_is_none(room: TestClient, time: str) -> None:
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 900, "at": time}
    answer = room.post(f"{API}/entries", json=wash)
    hold(answer)
    assert answer.status_code == 422
    hold(room.get(f"{API}/tanks/t1/course?from={quote(time)}"))


@pytest.mark.parametrize("name", HEADERS)
def test_a_header(room: TestClient, name: str) -> None:
    for path in (f"/rooms/{ROOM}", f"{API}/tanks"):
        answer = room.get(path, headers=HEADERS[name], follow_redirects=False)
        hold(answer)
        assert answer.status_code in (200, 304, 400, 401, 422)


def test_the_table_is_as_long_as_it_is_said_to_be() -> None:
    count = len(TEXTS) * (len(ADDRESSES) + 2) + len(BODIES) + 2 * len(NUMBERS) + 2 * len(TIMES)
    assert count + 2 * len(HEADERS) >= 300
