"""The golden vectors, asked of a program of the joint's maker: docs/conform.md."""
