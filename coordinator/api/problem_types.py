"""Every `type` that a problem can have: the code that ends it, and what it means.

They are stable: clients decide by them. tests/coordinator/api/test_problem_types.py holds this
list against the source.
"""

from typing import Final

PROBLEM_TYPES: Final[dict[str, str]] = {
    # ---- of a request, before anything is asked of the arm ------------------------------------
    "malformed": "The request cannot be read, or its client names itself wrongly.",
    "token": "A token is needed, or this one is wrong.",
    "host": "`Host` names another host.",
    "origin": "A page of another site asks.",
    "role": "The token allows less.",
    "not-found": "There is none of that number or name.",
    "method-not-allowed": "The path takes other methods.",
    "slow": "The body took too long to arrive.",
    "too-large": "The body is too large.",
    "content-type": "The body is of a kind that is not taken.",
    "invalid": "Body, path or query have another form than the document says; `errors` says where.",
    "rate": "Too many requests from one address; `Retry-After` says how long to wait.",
    "http": "Any other error of HTTP; the status says which.",
    # ---- the request asks for what cannot be --------------------------------------------------
    "joint-unknown": "No joint has that name.",
    "jog-speed": "Faster than the joint's limit.",
    "override-range": "An override that is not possible.",
    "program": "The program has mistakes; `errors` lists them with line and column.",
    "program-empty": "The program moves nothing.",
    "program-too-large": "The program has too many bytes.",
    "stop-level": "There is no such level of stop.",
    # ---- the arm's state, or another client, forbids it ---------------------------------------
    "control": "Another client commands motion, or control was given back meanwhile.",
    "running": "A program is being played.",
    "homing": "A homing is under way.",
    "jogging": "A joint is being jogged.",
    "jog-ended": "The jog was ended; let go before the next.",
    "stopping": "A joint has not confirmed the stop yet.",
    "no-run": "No program is being played.",
    "not-held": "The run, or a joint in it, is not at rest on the path.",
    "nothing-moves": "There is nothing to hold.",
    "halted": "A hold or stop came before the run began.",
    "left": "Whoever asked for the run has gone.",
    "moved": "A joint moved while the program was being planned.",
    "joint-absent": "A joint is not connected.",
    "joint-lost": "A joint in the run is not there any more.",
    "joint-not-configured": "A joint does not know its figures yet.",
    "joint-silent": "A joint does not answer.",
    "not-at-rest": "A joint moves.",
    "not-homed": "A joint is not homed.",
    "faulted": "A joint has a fault.",
    "clock-unlocked": "A joint's clock is not known well enough.",
    "temperature-implausible": "A joint's temperature cannot be believed.",
    "rehearsing": "Another rehearsal goes on.",
    "planner": "The process that checks programs ended; try again.",
    "ending": "The coordinator is ending.",
    # ---- the coordinator cannot ---------------------------------------------------------------
    "busy": "Too many programs are being checked; `Retry-After` says how long to wait.",
    "store": "The database cannot be read or written.",
    "data-folder": "The data folder cannot be read.",
    "failed": "The coordinator broke: see its log, then start it anew.",
    "not-ready": "The coordinator is beginning or ending (only `/readyz`).",
    "internal": "The coordinator made a mistake; its log says more.",
}
