"""What the operating system says of a failure, in words for people: its numbers are left out."""

import errno
import re
import socket
from typing import Final

_WORDS: Final = {
    errno.ECONNREFUSED: "nothing listens there",
    errno.ECONNRESET: "the connection was broken",
    errno.ECONNABORTED: "the connection was broken",
    errno.EHOSTUNREACH: "no way leads there on this network",
    errno.ENETUNREACH: "no way leads there on this network",
    errno.EHOSTDOWN: "no way leads there on this network",
    errno.ENETDOWN: "this computer's network is down",
    errno.EADDRNOTAVAIL: "this computer has no address from which to get there",
}
"""By what connect(2) and its like tell (errno(3)), where its own words say too little."""
_NUMBER: Final = re.compile(r"\[Errno -?[0-9]+\] ")


def os_words(error: Exception) -> str:
    """A clause that says what went wrong; of an error that is not the system's, its own words."""
    match error:
        case socket.gaierror(errno=socket.EAI_NONAME):
            return "no computer has that name here"
        case socket.gaierror():
            return "that name cannot be looked up now"
        case TimeoutError():
            return "nothing answers in time"
        case OSError(errno=int(number)):
            return _WORDS.get(number) or _NUMBER.sub("", error.strerror or str(error))
    # Where several addresses were tried, all of their errors are one text.
    return _NUMBER.sub("", str(error)).removeprefix("Multiple exceptions: ")
