"""Who reaches the page: whether an address is this machine's alone, and what another lays open."""

from __future__ import annotations

import ipaddress
from pathlib import Path


def is_loopback(host: str) -> bool:
    """Return whether `host` is reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def warning(host: str, folder: Path | None) -> str:
    """Return what serving on `host` lays open; "" where it is this machine alone."""
    if is_loopback(host):
        return ""
    reach = (
        "every drive in the folder can be read" if folder is not None else "the page can be used"
    )
    return (
        f"warning: on {host} {reach} by anyone who reaches this machine over the network, "
        "without a password, and what is dropped on the page travels unencrypted"
    )
