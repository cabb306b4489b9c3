"""What a joint is told over its serial cable: key, network, name (../CABLE.md)."""
