"""How long the checks of home edges take that a play asks for: told before the arm moves."""

from collections.abc import Callable
from typing import Any

from coordinator.cli.common import err, out
from coordinator.cli.show import edges_sentence
from coordinator.cli.watch import Interrupts, work_shown
from coordinator.client import Client, Refused, WrongInput
from coordinator.programs.options import PlayOptions


def edges_s_of(
    client: Client,
    options: PlayOptions,
    text_of: Callable[[Client], str],
    pressed: Interrupts | None = None,
) -> float | None:
    """How long one of them takes, in s, where the program ends with these options; None where it
    cannot be made or nobody knows. The program is checked for that: Ctrl-C cancels it.
    """
    try:
        with work_shown(pressed) as tell:
            return client.check(text_of(client), options.switches, tell=tell).edges_s
    except (Refused, WrongInput):
        return None  # whoever plays it is told why


def tell_edges(name: str, each_s: float | None, options: PlayOptions, *, as_json: bool) -> None:
    """Tell people, beside JSON on standard error."""
    (err() if as_json else out()).print(edges_sentence(name, each_s, options.often.number))


def edges_json(each_s: float | None, options: PlayOptions) -> dict[str, Any]:
    """The same for JSON; nothing where no edges are checked."""
    return {"edges_s": each_s} if options.check_edges else {}
