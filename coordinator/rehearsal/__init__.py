"""The same core and the same software joints in virtual time: no event loop, no sockets, no clock.

`World` holds the joints and the laptops; whatever happens is an entry in its one queue, so the
same seed gives the same world.
"""
