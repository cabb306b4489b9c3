"""Holding one joint, whoever built it, to protocol/README.md: docs/conform.md."""
