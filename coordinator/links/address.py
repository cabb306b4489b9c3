"""Whether this host still has an address: Wi-Fi goes away, an adapter is unplugged."""

import socket


def has_address(address: str) -> bool:
    """Whether an IPv4 address is one of this host's interfaces now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.bind((address, 0))
        except OSError:
            return False
    return True
