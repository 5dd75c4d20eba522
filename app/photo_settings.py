"""What the environment says of an object storage for photos, checked as it is read.

Apart from the other settings: only a site that has such a storage has the library that reads them.
"""

from typing import Annotated

from pydantic import Field, SecretStr, StringConstraints, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from app.domain.errors import DomainError

BEGINS = "BATHKEEPER_PHOTOS"
# Names of buckets: three to 63 small letters, digits, dots, hyphens (documentation of S3, "General
# purpose bucket naming rules", from memory). Folders without "..", nor anything that needs quoting.
ADDRESS = r"^s3://[a-z0-9][a-z0-9.-]{1,61}[a-z0-9](/[A-Za-z0-9_-][A-Za-z0-9._-]*)*/?$"
ENDPOINT = r"^(https?://[A-Za-z0-9.\[\]:-]+/?)?$"
WRONG = {
    "": "is not the address of an object storage. Give it as s3://bucket/folder.",
    "_ENDPOINT": "is not the address of a server. Give it as https://storage.example.",
    "_KEY": "is empty, and BATHKEEPER_PHOTOS_SECRET is not. Set both or neither.",
    "_SECRET": "is empty, and BATHKEEPER_PHOTOS_KEY is not. Set both or neither.",
}


class PhotoSettings(BaseSettings):
    """The settings by their names behind `BATHKEEPER_PHOTOS`."""

    model_config = SettingsConfigDict(env_prefix=f"{BEGINS}_", env_ignore_empty=True)

    address: Annotated[str, StringConstraints(pattern=ADDRESS)]
    endpoint: Annotated[str, StringConstraints(pattern=ENDPOINT)] = Field(
        default="", description="address of the storage's server"
    )
    key: str = Field(default="", description="name of the key that opens the bucket")
    secret: SecretStr = Field(default=SecretStr(""), description="secret of that key")


def read(address: str) -> dict[str, str]:
    """The storage at an address, with its server and keys from the environment.

    Raises:
        DomainError: a value is none, in words; no secret is repeated.
    """
    try:
        found = PhotoSettings(address=address)
    except ValidationError as error:
        (place, *_) = error.errors()[0]["loc"] or ("address",)
        name = "" if place == "address" else f"_{place}".upper()
        raise DomainError(f"{BEGINS}{name} {WRONG[name]}") from None
    secret = found.secret.get_secret_value()
    for is_wrong, name in (
        (secret and not found.key, "_KEY"),
        (found.key and not secret, "_SECRET"),
    ):
        if is_wrong:
            raise DomainError(f"{BEGINS}{name} {WRONG[name]}")
    return {
        "address": found.address.rstrip("/"),
        "endpoint": found.endpoint.rstrip("/"),
        "key": found.key,
        "secret": secret,
    }
