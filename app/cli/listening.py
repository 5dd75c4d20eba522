"""The socket that waits for the browser; tried before anything slow, so that a taken port is said
at once. Standard library only: a first start asks here before the packages are fetched.
"""

import errno
import os
import socket

from app.domain.errors import DomainError


def listen(host: str, port: int) -> socket.socket:
    """A socket that waits for the browser.

    Raises:
        DomainError: the port is taken, or the address is not this machine's.
    """
    listener = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    if os.name != "nt":
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise DomainError(_trouble(host, port, error)) from None
    return listener


def _trouble(host: str, port: int, error: OSError) -> str:
    if isinstance(error, PermissionError):
        return f"You may not use port {port}. Choose one above 1023."
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} is in use, perhaps by another Bathkeeper. "
            f"Choose another one, such as --port {port + 1 if port < 65535 else 8000}, "
            "or --port 0 for any free one."
        )
    return f"The address {host} cannot be used: {error.strerror or error}."
