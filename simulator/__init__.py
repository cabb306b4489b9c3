"""Software joints: the firmware logic, the physics under it, and the sockets around both."""
