"""Which addresses a webhook may reach: public ones only, every one that the name resolves to, checked just before use.

Whoever makes a route chooses a URL that *this* service then calls; without these rules it could be pointed at the
service's own network. The connection goes to the very address that was checked: there is no second look-up.
"""

from __future__ import annotations

import ipaddress
import socket
import threading
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from alarms.channels.base import TransportError

Resolver = Callable[[str, int], Sequence[str]]
MAX_URL = 500

# IANA special-purpose address registries (RFC 6890 and its updates), from memory of the registries.
_NOT_PUBLIC_V4 = tuple(
    ipaddress.IPv4Network(text)
    for text in (
        "0.0.0.0/8",  # this network
        "10.0.0.0/8",  # private
        "100.64.0.0/10",  # shared by carriers (CGNAT)
        "127.0.0.0/8",  # loopback
        "169.254.0.0/16",  # link-local, cloud metadata
        "172.16.0.0/12",  # private
        "192.0.0.0/24",  # protocol assignments
        "192.0.2.0/24",  # documentation
        "192.88.99.0/24",  # 6to4 relays
        "192.168.0.0/16",  # private
        "198.18.0.0/15",  # benchmarks
        "198.51.100.0/24",  # documentation
        "203.0.113.0/24",  # documentation
        "224.0.0.0/4",  # multicast
        "240.0.0.0/4",  # reserved, broadcast
    )
)
_PUBLIC_V6 = ipaddress.IPv6Network("2000::/3")
_NOT_PUBLIC_V6 = tuple(
    ipaddress.IPv6Network(text)
    for text in (
        "2001::/23",  # protocol assignments, among them Teredo, ORCHID and benchmarks
        "2001:db8::/32",  # documentation
        "2002::/16",  # 6to4: the embedded IPv4 address may be anything
        "3fff::/20",  # documentation
    )
)


class AddressRefused(TransportError):
    """The URL, or an address it leads to, is not one that this service calls."""

    def __init__(self, detail: str) -> None:
        super().__init__(detail, status="refused", permanent=True)


@dataclass(frozen=True, slots=True)
class Target:
    """A URL taken apart. `allowed`: the operator named this host, so it may be private and need not be https."""

    scheme: str
    host: str
    port: int
    path: str
    allowed: bool

    @property
    def host_header(self) -> str:
        name = f"[{self.host}]" if ":" in self.host else self.host
        return name if self.port == (443 if self.scheme == "https" else 80) else f"{name}:{self.port}"


def target_of(url: str, *, allowed_hosts: Collection[str]) -> Target:
    """The parts of a URL that a webhook may have. *Raises* AddressRefused and says why."""
    if len(url) > MAX_URL or not url.isascii() or any(character <= " " or character == "\\" for character in url):
        raise AddressRefused(f"A URL has at most {MAX_URL} visible ASCII characters.")
    try:
        parts = urlsplit(url)
        host, port = (parts.hostname or "").rstrip("."), parts.port
    except ValueError as error:
        raise AddressRefused(f"This is not a URL: {error}") from error
    if parts.scheme not in ("https", "http") or not host:
        raise AddressRefused("A webhook needs a URL that begins with https:// and a host name.")
    if parts.username is not None or parts.password is not None:
        raise AddressRefused("A URL must not carry a user name or password.")
    if parts.fragment or "%" in host or port == 0:
        raise AddressRefused("A URL must not carry a fragment, a zone or port 0.")
    port = port or (443 if parts.scheme == "https" else 80)
    allowed = _is_allowed(host, port, allowed_hosts)
    if parts.scheme == "http" and not allowed:
        raise AddressRefused("A webhook needs https.")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    target = Target(parts.scheme, host, port, path, allowed)
    if not allowed and (literal := _literal(host)) is not None:
        require_public(literal)
    return target


def _is_allowed(host: str, port: int, allowed_hosts: Collection[str]) -> bool:
    names = {entry.lower().strip("[]") for entry in allowed_hosts}
    return host in names or f"{host}:{port}" in names or f"[{host}]:{port}" in allowed_hosts


def _literal(host: str) -> str | None:
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        return None


def require_public(text: str) -> None:
    """*Raises* AddressRefused unless *text* is a public unicast address, IPv4-mapped ones unwrapped."""
    try:
        address = ipaddress.ip_address(text)
    except ValueError as error:
        raise AddressRefused(f"{text!r} is not an address.") from error
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return require_public(str(address.ipv4_mapped))
        public = (
            address.scope_id is None
            and address in _PUBLIC_V6
            and not any(address in network for network in _NOT_PUBLIC_V6)
        )
    else:
        public = not any(address in network for network in _NOT_PUBLIC_V4)
    if not public:
        raise AddressRefused(f"{address} is not a public address.")
    return None


def checked_addresses(target: Target, *, resolver: Resolver, within_s: float) -> list[str]:
    """Every address of the target, all of them checked. *Raises* AddressRefused if any one is not public.

    One bad address among good ones refuses the whole name: whoever answers for it chose to send us there.
    """
    try:
        found = list(dict.fromkeys(_in_time(resolver, target, within_s)))
    except OSError as error:
        raise TransportError(f"The host name could not be looked up: {error}", status="dns") from error
    if not found:
        raise TransportError("The host name has no address.", status="dns")
    if not target.allowed:
        for address in found:
            require_public(address)
    return found


def system_resolver(host: str, port: int) -> list[str]:
    """What the system's resolver says. *Raises* OSError."""
    try:
        answers = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except UnicodeError as error:
        raise OSError(f"not a host name: {error}") from error
    return [str(answer[4][0]) for answer in answers]


def _in_time(resolver: Resolver, target: Target, within_s: float) -> Sequence[str]:
    """The resolver's answer. A look-up cannot be interrupted, so it runs in a thread that may be left behind."""
    box: list[Sequence[str] | Exception] = []

    def look_up() -> None:
        try:
            box.append(resolver(target.host, target.port))
        except Exception as error:  # noqa: BLE001 - carried to the caller's thread
            box.append(error)

    thread = threading.Thread(target=look_up, name="webhook-dns", daemon=True)
    thread.start()
    thread.join(within_s)
    if not box:
        raise TransportError("The look-up of the host name took too long.", status="dns")
    if isinstance(box[0], Exception):
        raise box[0]
    return box[0]
