"""A tablet that opens the site like an app: its certificate, and what its home screen shows."""

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from app.domain.errors import NotFound
from app.services.certificates import SiteCertificate
from app.web.below import site_path
from app.web.render import ASSETS, page

router = APIRouter()
ICONS = {"icon.svg": "any", "icon-192.png": "192x192", "icon-512.png": "512x512"}
MANIFEST = "/site.webmanifest"
NO_CERTIFICATE = "This site has no certificate yet. Start it with --https."


@router.get("/tablets")
def tablets(request: Request) -> Response:
    """How a tablet comes to trust this site and to open it full screen."""
    is_safe = request.url.scheme == "https"
    return page(request, "tablets.html", {"certificate": _certificate(request), "is_safe": is_safe})


@router.get("/tablets/site.crt")
def root_certificate(request: Request) -> Response:
    """The root that vouches for this site, for a tablet to keep."""
    certificate = _certificate(request)
    if certificate is None:
        raise NotFound(NO_CERTIFICATE)
    headers = {"Content-Disposition": 'attachment; filename="bathkeeper-site.crt"'}
    return Response(certificate.root, media_type="application/x-x509-ca-cert", headers=headers)


@router.get(MANIFEST)
def manifest(request: Request) -> Response:
    """What a browser asks for before it puts the site on a home screen (W3C Web App Manifest)."""
    at = site_path(request)
    said = {
        "name": "Bathkeeper",
        "short_name": "Bathkeeper",
        "id": f"{at}/",
        "start_url": f"{at}/",
        "scope": f"{at}/",
        "display": "standalone",
        "display_override": ["fullscreen", "standalone"],
        "background_color": "#d6dcdb",
        "theme_color": "#d6dcdb",
        "icons": [
            {"src": at + ASSETS.address(name), "sizes": sizes, "type": _type(name)}
            for name, sizes in ICONS.items()
        ],
    }
    return JSONResponse(said, media_type="application/manifest+json")


def _type(name: str) -> str:
    return ASSETS.find(name).media_type


def _certificate(request: Request) -> SiteCertificate | None:
    """The certificate that this program serves with; None where it serves without one."""
    found: SiteCertificate | None = getattr(request.app.state, "certificate", None)
    return found
