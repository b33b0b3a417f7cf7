"""Which addresses may be called. A webhook must not become a way into the network that the service stands in."""

import ipaddress
from typing import TypeAlias
from urllib.parse import urlsplit

from msgspec import Struct

Network: TypeAlias = ipaddress.IPv4Network | ipaddress.IPv6Network
Address: TypeAlias = ipaddress.IPv4Address | ipaddress.IPv6Address

_PORTS = {"https": 443, "http": 80}
_EMBEDDING = (
    # IPv4 addresses that an IPv6 address carries: NAT64 (RFC 6052), 6to4 (RFC 3056); the numbers from memory.
    (ipaddress.ip_network("64:ff9b::/96"), 0),
    (ipaddress.ip_network("2002::/16"), 80),
)


class Target(Struct, frozen=True):
    """Where a URL leads."""

    scheme: str
    host: str
    port: int

    @property
    def authority(self) -> str:
        """The value of the header `Host`."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == _PORTS[self.scheme] else f"{host}:{self.port}"


def networks(text: str) -> tuple[Network, ...]:
    """Networks in CIDR form, separated by commas. Raises ValueError for what is none."""
    return tuple(ipaddress.ip_network(each.strip()) for each in text.split(",") if each.strip())


def target(url: str) -> Target | str:
    """Where a URL leads, or a sentence that says why it can't be called."""
    if any(ord(each) <= ord(" ") or ord(each) >= 0x7F for each in url):  # noqa: PLR2004 - DEL
        return "the URL holds something other than printable ASCII"
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        return f"this is not a URL: {error}"
    if parts.scheme not in _PORTS:
        return "the URL begins with neither https:// nor http://"
    if not parts.hostname:
        return "the URL names no host"
    if parts.username is not None or parts.password is not None:
        return "the URL holds a user or a password: calls are signed instead"
    if "#" in url:
        return "the URL has a fragment, which no receiver ever sees"
    if port == 0:
        return "the URL has port 0"
    return Target(parts.scheme, parts.hostname, port or _PORTS[parts.scheme])


def refusal(found: Target, address: str, allowed: tuple[Network, ...]) -> str | None:
    """Why an address that a host has may not be called; None if it may.

    Public addresses may be called by TLS; others, and without TLS, only in a network that the system owner allows.
    """
    plain = ipaddress.ip_address(address.partition("%")[0])
    if any(plain in network for network in allowed if network.version == plain.version):
        return None
    if not _public(plain):
        return f"{plain} is not a public address, and not in a network that TINEBOOK_WEBHOOK_NETWORKS allows"
    if found.scheme != "https":
        return "only https may be called, except in a network that TINEBOOK_WEBHOOK_NETWORKS allows"
    return None


def _public(address: Address) -> bool:
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return _public(address.ipv4_mapped)
        for network, after in _EMBEDDING:
            if address in network:
                bits = int(address) >> (128 - after - 32) if after else int(address)
                return _public(ipaddress.IPv4Address(bits & 0xFFFFFFFF))
    return address.is_global and not address.is_multicast
