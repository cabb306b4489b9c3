"""The coordinator's core and the joints' firmware in virtual time: no sockets, no clocks."""
