"""The settings of a bench, read once: every name, default and unit."""

import os
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

PREFIX = "TINEBOOK_BENCH_"


class SettingError(ValueError):
    """A setting that can't be used; the text names it and says what it should be."""


class Settings(Struct, frozen=True, kw_only=True):
    """Everything that differs from bench to bench. Each field is set by TINEBOOK_BENCH_ and its name in capitals."""

    url: str = "http://127.0.0.1:8600"
    """Address of the service."""
    token: str | None = None
    """The bench's token. TOKEN_FILE names a file that holds it instead."""
    outbox: Path
    """File of the outbox. Default: tinebook/bench.db in the user's state directory."""
    name: str | None = None
    """Name of this bench, written into every entry."""
    camera: str = "/dev/video0"
    """Camera device for `work --camera`."""
    serial: str | None = None
    """Port of a serial scanner for `work`."""
    baud: int = 9600
    """Speed of the serial scanner in bits per second."""
    answer_s: float = 10.0
    """Longest wait for an answer of the service, in seconds."""
    ascii: bool = False
    """Draw with ASCII characters alone."""
    idle_min: int = 15
    """Minutes without use after which `work` signs off and clears the screen, 1 to 720."""
    certificate: Path | None = None
    """Certificate for `serve`, with what lies between it and its authority (PEM). With it the page is served over TLS."""
    key: Path | None = None
    """File of the certificate's key (PEM), without a passphrase."""
    authority: Path | None = None
    """Certificate of the authority that devices are to trust; the page hands it out as /authority.crt."""


def read(environment: Mapping[str, str]) -> Settings:
    """The settings from the environment. SettingError if one is unknown or can't be used."""
    told = {key.removeprefix(PREFIX): value for key, value in environment.items() if key.startswith(PREFIX)}
    unknown = set(told) - {name.upper() for name in Settings.__struct_fields__} - {"TOKEN_FILE"}
    if unknown:
        raise SettingError(f"There is no setting {', '.join(PREFIX + each for each in sorted(unknown))}.")
    return Settings(
        url=_url(told.get("URL", "http://127.0.0.1:8600")),
        token=_token(told.get("TOKEN"), told.get("TOKEN_FILE")),
        outbox=Path(told.get("OUTBOX") or _state_directory(environment) / "tinebook" / "bench.db"),
        name=told.get("NAME") or None,
        camera=told.get("CAMERA", "/dev/video0"),
        serial=told.get("SERIAL") or None,
        baud=int(_number("BAUD", told.get("BAUD", "9600"))),
        answer_s=_number("ANSWER_S", told.get("ANSWER_S", "10")),
        ascii=told.get("ASCII", "") not in ("", "0"),
        idle_min=_minutes(told.get("IDLE_MIN", "15")),
        certificate=_file(told.get("CERTIFICATE")),
        key=_file(told.get("KEY")),
        authority=_file(told.get("AUTHORITY")),
    )


def _file(told: str | None) -> Path | None:
    return Path(told) if told else None


def _url(told: str) -> str:
    if not told.startswith(("http://", "https://")):
        raise SettingError(f"{PREFIX}URL must begin with http:// or https://, not '{told}'.")
    return told.rstrip("/")


def _token(told: str | None, file: str | None) -> str | None:
    if told and file:
        raise SettingError(f"Set {PREFIX}TOKEN or {PREFIX}TOKEN_FILE, not both.")
    if file:
        try:
            told = Path(file).read_text("utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            raise SettingError(f"{PREFIX}TOKEN_FILE: {file} can't be read ({error}).") from None
    if told and not (told.isascii() and told.isprintable() and " " not in told):
        raise SettingError(f"{PREFIX}TOKEN holds characters that no token has: copy it again.")
    return told or None


def _number(name: str, told: str) -> float:
    try:
        number = float(told)
    except ValueError:
        raise SettingError(f"{PREFIX}{name} must be a number, not '{told}'.") from None
    if not 0 < number < 10_000_000:  # noqa: PLR2004 - anything outside is a slip of the keys
        raise SettingError(f"{PREFIX}{name} must be above 0, not {told}.")
    return number


def _minutes(told: str) -> int:
    if not (told.isascii() and told.isdigit() and 1 <= int(told) <= 720):  # noqa: PLR2004 - no shift is longer than half a day
        raise SettingError(f"{PREFIX}IDLE_MIN must be a whole number of minutes, 1 to 720, not '{told}'.")
    return int(told)


def _state_directory(environment: Mapping[str, str]) -> Path:
    """Where programs keep what must survive: XDG_STATE_HOME, else ~/.local/state, or LOCALAPPDATA on Windows."""
    if os.name == "nt" and environment.get("LOCALAPPDATA"):
        return Path(environment["LOCALAPPDATA"])
    return Path(environment.get("XDG_STATE_HOME") or Path.home() / ".local" / "state")
