"""Sockets to the joints: discovery, streams, datagram exchange.

Thin: bytes become the core's events and the core's actions become bytes. What may be said when
is decided in `coordinator.core`.
"""
