"""What a joint is told over its serial cable: the arm's key, the network, its name (../CABLE.md)."""
