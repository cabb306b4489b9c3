"""Whether this host still has an address: Wi-Fi goes away, an adapter is unplugged."""

import errno
import socket


def has_address(address: str) -> bool:
    """Whether an IPv4 address is one of this host's interfaces now."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind((address, 0))
            # A group's address can be bound to, but no interface has it.
            probe.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(address))
    except OSError as error:
        # Nothing else says that it is gone; a host that is out of sockets still has it.
        return error.errno != errno.EADDRNOTAVAIL
    return True
