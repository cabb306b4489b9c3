"""Round trips in order, and as people are told of them."""


def nearest_rank(ordered: list[int], per_mille: int) -> int:
    """The smallest that this share of one or more does not exceed; the least for 0."""
    return ordered[max(0, (len(ordered) * per_mille + 999) // 1000 - 1)]


def in_ms(time_us: int) -> str:
    """To a tenth below 10 ms."""
    return f"{time_us / 1e3:.{1 if time_us < 10_000 else 0}f} ms"
