"""Whose request it is, and where it comes from."""

from ipaddress import ip_address, ip_network
from typing import Any

from litestar.connection import ASGIConnection

from services.core.auth import Device, Devices


async def identified(connection: ASGIConnection[Any, Any, Any, Any], park: str, *, backlog: bool) -> Device:
    """The device whose key a request bears, as it is now; raises what `Devices.identify` does."""
    devices: Devices = connection.app.state.devices
    return await devices.identify(
        park, connection.headers.get("authorization"), address_of(connection), backlog=backlog
    )


def address_of(connection: ASGIConnection[Any, Any, Any, Any]) -> str:
    """Where a request comes from, as far as tries are counted: an IPv4 address, or the network of an IPv6 one, which a household has whole."""
    host = connection.client.host if connection.client else ""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    return str(address) if address.version == 4 else str(ip_network((address, 64), strict=False))
