"""Https with a certificate of the site's own: made at the start, renewed while it serves."""

import logging
import ssl
from collections.abc import Iterable
from typing import Any

from app.clock import utc_now
from app.config import Settings
from app.services.certificates import SiteCertificate, site_certificate

FOLDER = "https"
_log = logging.getLogger(__name__)


class Certified:
    """What a server shows to be believed.

    Attributes:
        shown: the certificate as it is now.
    """

    def __init__(self, settings: Settings, names: Iterable[str]) -> None:
        self._folder, self._names = settings.data_dir / FOLDER, frozenset(names)
        self.shown: SiteCertificate = site_certificate(self._folder, self._names, utc_now())

    def files(self) -> dict[str, Any]:
        """The files as the server's settings name them."""
        return {"ssl_certfile": self.shown.chain, "ssl_keyfile": self.shown.key}

    def said(self) -> list[str]:
        """What the terminal says: how a tablet comes to believe it, and what to compare."""
        lines = [
            "On each tablet, open /tablets there and compare this fingerprint (SHA-256):",
            f"  {self.shown.fingerprint}",
        ]
        if self.shown.is_new_root:
            return ["The site has a new certificate.", *lines]
        return lines

    def renew(self, context: ssl.SSLContext) -> None:
        """Let new connections have a new certificate where the present one soon ends."""
        try:
            made = site_certificate(self._folder, self._names, utc_now())
            if made.ends_at != self.shown.ends_at:
                context.load_cert_chain(made.chain, made.key)
                self.shown = made
        except OSError as error:
            _log.warning("The certificate is not renewed: %s", error)
