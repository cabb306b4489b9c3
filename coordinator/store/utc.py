"""The time of day for records; nothing depends on it, since it may be set at any time."""

from datetime import UTC, datetime, timedelta


def utc_now() -> str:
    """Now in UTC, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def utc_ago(us: int) -> str:
    """A time ago in UTC, ISO 8601."""
    return (datetime.now(UTC) - timedelta(microseconds=us)).isoformat(timespec="seconds")


def utc_of(unix_s: int) -> str:
    """An instant of Unix time in UTC, ISO 8601."""
    return datetime.fromtimestamp(unix_s, UTC).isoformat(timespec="seconds")


def unix_now_s() -> int:
    """Now, Unix time in whole seconds."""
    return int(datetime.now(UTC).timestamp())
