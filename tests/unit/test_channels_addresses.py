"""Which addresses a webhook may reach. Ranges: IANA special-purpose address registries (RFC 6890 and its updates)."""

from __future__ import annotations

import pytest

from alarms.channels.addresses import AddressRefused, checked_addresses, require_public, target_of
from alarms.channels.base import TransportError

GOOD = ["8.8.8.8", "93.184.216.34", "1.1.1.1", "100.63.255.255", "100.128.0.0", "172.32.0.1", "192.0.1.1",
        "2606:2800:220:1:248:1893:25c8:1946", "2a00:1450:400f::1", "::ffff:8.8.8.8"]  # fmt: skip
BAD = [
    ("0.0.0.0", "this network"), ("0.1.2.3", "this network"), ("10.0.0.1", "private"), ("127.0.0.1", "loopback"),
    ("127.255.255.254", "loopback"), ("169.254.169.254", "link-local: cloud metadata"), ("172.16.0.1", "private"),
    ("172.31.255.255", "private"), ("192.168.1.1", "private"), ("100.64.0.1", "CGNAT"), ("100.127.255.255", "CGNAT"),
    ("192.0.0.1", "protocol assignments"), ("192.0.2.1", "documentation"), ("192.88.99.1", "6to4 relay"),
    ("198.18.0.1", "benchmarks"), ("198.19.255.255", "benchmarks"), ("198.51.100.7", "documentation"),
    ("203.0.113.9", "documentation"), ("224.0.0.1", "multicast"), ("239.255.255.250", "multicast"),
    ("240.0.0.1", "reserved"), ("255.255.255.255", "broadcast"),
    ("::", "unspecified"), ("::1", "loopback"), ("::ffff:127.0.0.1", "mapped loopback"),
    ("::ffff:10.0.0.1", "mapped private"), ("::ffff:169.254.169.254", "mapped link-local"), ("::7f00:1", "compatible"),
    ("fe80::1", "link-local"), ("fe80::1%eth0", "with a zone"), ("fc00::1", "ULA"), ("fd12:3456::1", "ULA"),
    ("ff02::1", "multicast"), ("2002:7f00:1::", "6to4 of loopback"), ("2002:808:808::1", "6to4"),
    ("2001:0:53aa:64c::1", "Teredo"), ("2001:20::1", "ORCHID"), ("2001:db8::1", "documentation"),
    ("3fff::1", "documentation"), ("64:ff9b::7f00:1", "NAT64"), ("64:ff9b:1::1", "local NAT64"), ("100::1", "discard"),
    ("5f00::1", "segment routing"), ("4000::1", "outside 2000::/3"), ("not an address", "no address"),
]  # fmt: skip


@pytest.mark.parametrize("address", GOOD)
def test_public_addresses_pass(address: str) -> None:
    require_public(address)


@pytest.mark.parametrize(("address", "why"), BAD, ids=[f"{address} {why}" for address, why in BAD])
def test_everything_else_is_refused(address: str, why: str) -> None:
    with pytest.raises(AddressRefused) as refusal:
        require_public(address)
    assert refusal.value.permanent, why


REFUSED_URLS = [
    "http://example.org/hook", "ftp://example.org/", "https://", "https:///hook", "//example.org/", "example.org",
    "https://user:pw@example.org/", "https://user@example.org/", "https://example.org/#part", "https://example.org:0/",
    "https://example.org:99999/", "https://127.0.0.1/", "https://[::1]/", "https://[fe80::1%25eth0]/",
    "https://169.254.169.254/latest/meta-data/", "https://[::ffff:10.0.0.1]/", "https://example.org/\r\nX: y",
    "https://exa mple.org/", "https://example.org\\@evil.example/", "https://ex\u00e4mple.org/", "file:///etc/passwd",
    "https://example.org/" + "a" * 500, "javascript:alert(1)", "https://[::1/",
]  # fmt: skip


@pytest.mark.parametrize("url", REFUSED_URLS)
def test_urls_that_no_webhook_may_have(url: str) -> None:
    with pytest.raises(AddressRefused):
        target_of(url, allowed_hosts=[])


def test_a_good_url_is_taken_apart() -> None:
    target = target_of("https://Hooks.Example.org:8443/a/b?c=d", allowed_hosts=[])
    assert (target.host, target.port, target.path, target.allowed) == ("hooks.example.org", 8443, "/a/b?c=d", False)
    assert target.host_header == "hooks.example.org:8443"
    assert target_of("https://example.org", allowed_hosts=[]).host_header == "example.org"
    assert target_of("https://[2a00:1450:400f::1]/", allowed_hosts=[]).host_header == "[2a00:1450:400f::1]"


def test_only_the_allow_list_opens_private_hosts_and_plain_http() -> None:
    assert target_of("http://127.0.0.1:9000/", allowed_hosts=["127.0.0.1:9000"]).allowed
    assert target_of("http://127.0.0.1:9000/", allowed_hosts=["127.0.0.1"]).allowed
    with pytest.raises(AddressRefused):
        target_of("http://127.0.0.1:9001/", allowed_hosts=["127.0.0.1:9000"])
    with pytest.raises(AddressRefused):
        target_of("http://127.0.0.2/", allowed_hosts=["127.0.0.1"])


def ask(*answers: str) -> list[str]:
    target = target_of("https://hooks.example.org/", allowed_hosts=[])
    return checked_addresses(target, resolver=lambda host, port: answers, within_s=5)


def test_every_address_of_a_name_must_be_public() -> None:
    assert ask("93.184.216.34", "2a00:1450:400f::1") == ["93.184.216.34", "2a00:1450:400f::1"]
    for answers in (("93.184.216.34", "10.0.0.1"), ("10.0.0.1", "93.184.216.34"), ("::ffff:127.0.0.1",)):
        with pytest.raises(AddressRefused):
            ask(*answers)


@pytest.mark.parametrize("host", ["0x7f000001", "2130706433", "127.1", "0177.0.0.1", "localhost"])
def test_other_spellings_of_loopback_are_refused_after_the_real_look_up(host: str) -> None:
    from alarms.channels.addresses import system_resolver

    target = target_of(f"https://{host}/", allowed_hosts=[])
    with pytest.raises(TransportError) as refusal:
        checked_addresses(target, resolver=system_resolver, within_s=5)
    assert isinstance(refusal.value, AddressRefused) or refusal.value.status == "dns"


def test_a_name_without_an_address_may_have_one_later() -> None:
    def nobody(host: str, port: int) -> list[str]:
        raise OSError("no such host")

    target = target_of("https://hooks.example.org/", allowed_hosts=[])
    with pytest.raises(TransportError) as failure:
        checked_addresses(target, resolver=nobody, within_s=5)
    assert (failure.value.status, failure.value.permanent) == ("dns", False)
    with pytest.raises(TransportError, match="no address"):
        ask()


def test_a_look_up_that_hangs_is_left_behind() -> None:
    from threading import Event

    released = Event()

    def slow(host: str, port: int) -> list[str]:
        released.wait(20)
        return ["93.184.216.34"]

    target = target_of("https://hooks.example.org/", allowed_hosts=[])
    with pytest.raises(TransportError, match="too long"):
        checked_addresses(target, resolver=slow, within_s=0.05)
    released.set()
