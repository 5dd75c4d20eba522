"""What a tablet needs to open the site like an app. Source: W3C Web Application Manifest."""

import io
from datetime import UTC, datetime
from pathlib import Path

from cryptography import x509
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from app.services.certificates import site_certificate


def app_of(client: TestClient) -> FastAPI:
    app = client.app
    assert isinstance(app, FastAPI)
    return app


def test_without_https_the_page_says_how_to_start_with_it(client: TestClient) -> None:
    page = client.get("/tablets").text
    assert "serve --https" in page
    assert "site.crt" not in page
    answer = client.get("/tablets/site.crt")
    assert answer.status_code == 404
    assert "--https" in answer.text


def test_a_tablet_gets_the_root_and_its_fingerprint(client: TestClient, tmp_path: Path) -> None:
    made = site_certificate(tmp_path, ("localhost",), datetime.now(UTC))
    app_of(client).state.certificate = made
    page = client.get("/tablets").text.replace("<wbr>", "")
    assert made.fingerprint in page
    answer = client.get("/tablets/site.crt")
    assert answer.headers["content-type"] == "application/x-x509-ca-cert"
    assert "attachment" in answer.headers["content-disposition"]
    root = x509.load_der_x509_certificate(answer.content)
    assert root.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert b"PRIVATE KEY" not in answer.content


def test_the_manifest_names_icons_of_the_size_it_says(client: TestClient) -> None:
    front = client.get("/rooms").text
    assert '<link rel="manifest" href="/site.webmanifest">' in front
    answer = client.get("/site.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    said = answer.json()
    assert said["display"] in ("standalone", "fullscreen")
    assert client.get(said["start_url"]).status_code == 200
    pictures = [icon for icon in said["icons"] if icon["type"] == "image/png"]
    assert {icon["sizes"] for icon in pictures} >= {"192x192", "512x512"}
    for icon in said["icons"]:
        drawn = client.get(icon["src"])
        assert drawn.headers["content-type"] == icon["type"]
        if icon in pictures:
            width, height = Image.open(io.BytesIO(drawn.content)).size
            assert f"{width}x{height}" == icon["sizes"]
