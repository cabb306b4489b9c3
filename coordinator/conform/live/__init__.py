"""The checks over real sockets, a file for each part of protocol/README.md."""
