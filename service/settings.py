"""What the service can be told, read once from the environment at start."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

import msgspec
from msgspec import Meta, Struct

from service.core.entries import HouseRule
from service.core.signing.attempts import Cost
from service.feed import addresses

PREFIX = "TINEBOOK_"


class Settings(Struct, frozen=True, kw_only=True):
    """Every setting is read from TINEBOOK_ and its name in capitals."""

    dsn: str | None = None
    """PostgreSQL for the service. Without it an embedded server runs in the data directory."""
    owner_dsn: str | None = None
    """The same database as its owner, for migrate, token, verify and rebuild. Default: `dsn`."""
    data: Path = Path("tinebook-data")
    """Data directory of the embedded server."""
    host: str = "127.0.0.1"
    """Address to listen on."""
    port: int = 8600
    """Port to listen on."""
    address: Annotated[str, Meta(pattern="^https?://[^\\s?#]+$(?!\\n)")] | None = None
    """How others reach the service, for what is printed: a tag's QR code leads there. Without it the code holds the id alone."""
    workers: int = 1
    """Processes that serve; one a core is the most that helps."""
    pool_size: int = 4
    """Database connections for reading, per process."""
    queue_limit: int = 20_000
    """Entries that may wait for the disk, per process; beyond it the answer is 503 with Retry-After."""
    body_limit_bytes: int = 8_000_000
    """Largest request body."""
    unknown_answer: Literal["warn", "no_go"] = "warn"
    """The house rule where a count or a rating is not known: never go."""
    nearing_fraction: float = 0.8
    """The fraction of a rating from which an insertion is answered with a warning."""
    outlook_at: Annotated[str, Meta(pattern="^([01][0-9]|2[0-3]):[0-5][0-9]$(?!\\n)")] | None = None
    """Compute the outlook every day at this time of day (UTC), in a process beside the service. Without it nobody does."""
    checkpoint_key_file: Path | None = None
    """The key that signs checkpoints, PEM. With `outlook_at` one is made every day; the feed tells of it."""
    oidc_issuer: str | None = None
    """OpenID Connect for the pages: the provider's issuer. Without it they are signed in to with a token alone."""
    oidc_client_id: str | None = None
    """How the provider knows this service."""
    oidc_client_secret_file: Path | None = None
    """A file with the secret that goes with it; none for a public client."""
    oidc_scope_claim: str = "groups"
    """The claim that lists somebody's groups; those called tinebook- and a scope open what the scope opens."""
    webhook_networks: str = ""
    """Private networks in which webhooks may call, in CIDR form with commas between; elsewhere only public addresses, by TLS."""
    webhook_authority: Path | None = None
    """A PEM file with authorities that receivers' certificates may come from, beside the public ones."""
    webhook_timeout_s: float = 20.0
    """How long a receiver may take to answer a call."""
    delivery_log_days: int = 90
    """How long the log of calls is kept. What was recorded is kept for good."""
    argon2_passes: Annotated[int, Meta(ge=1, le=100)] = 3
    """How often a secret is worked over. This and the next two: RFC 9106, section 4, the second recommended option."""
    argon2_memory_kib: Annotated[int, Meta(ge=8, le=4_194_304)] = 65_536
    """The memory that it takes; two at a time in each process."""
    argon2_lanes: Annotated[int, Meta(ge=1, le=64)] = 4
    """How many parts of it are worked on at once."""

    @property
    def house(self) -> HouseRule:
        """The house rule that these settings make."""
        return HouseRule(self.unknown_answer, self.nearing_fraction)

    @property
    def cost(self) -> Cost:
        """What guessing a secret costs."""
        return Cost(self.argon2_passes, self.argon2_memory_kib, self.argon2_lanes)


class SettingsError(Exception):
    """A setting can't be used: says which, why and what it may be."""


def read(environment: Mapping[str, str]) -> Settings:
    """Settings from an environment. An unknown TINEBOOK_ name is an error, since it may be a misspelt one."""
    names = {f"{PREFIX}{each.upper()}": each for each in Settings.__struct_fields__}
    given = {
        key: value
        for key, value in environment.items()
        if key.startswith(PREFIX) and not key.startswith((f"{PREFIX}BENCH_", f"{PREFIX}TEST_"))
    }
    for key in given:
        if key not in names:
            raise SettingsError(f"{key} is not a setting; the settings are {', '.join(sorted(names))}")
    values = {names[key]: value for key, value in given.items() if value}
    try:
        settings = msgspec.convert(values, Settings, strict=False, dec_hook=lambda kind, value: kind(value))
        msgspec.convert(msgspec.to_builtins(settings.house), HouseRule)
        addresses.networks(settings.webhook_networks)
    except (msgspec.ValidationError, ValueError) as error:
        raise SettingsError(f"a TINEBOOK_ setting can't be used: {error}") from error
    if settings.argon2_memory_kib < 8 * settings.argon2_lanes:
        raise SettingsError(
            "TINEBOOK_ARGON2_MEMORY_KIB has to be 8 for each of TINEBOOK_ARGON2_LANES at least (RFC 9106, 3.1)"
        )
    if (settings.oidc_issuer is None) != (settings.oidc_client_id is None):
        raise SettingsError("TINEBOOK_OIDC_ISSUER and TINEBOOK_OIDC_CLIENT_ID go together: set both or neither")
    if settings.oidc_issuer is not None and not _is_safe(settings.oidc_issuer):
        raise SettingsError(f"TINEBOOK_OIDC_ISSUER is {settings.oidc_issuer}: it has to be https, save on this machine")
    return settings


def _is_safe(address: str) -> bool:
    """Whether what is fetched from there can be believed: nobody in between can write it."""
    parts = urlsplit(address)
    return parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in ("127.0.0.1", "::1", "localhost"))
