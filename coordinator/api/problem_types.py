"""Every `type` that a problem can have: the code that ends it, and what it means.

They are stable: clients decide by them. tests/coordinator/api/test_problem_types.py holds this
list against the source.
"""

from typing import Final

from coordinator.codes.refusal import RefusalCode

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
    "program": "The program has mistakes; `errors` lists them with line and column.",
    "arm-file": "The arm file's text has mistakes; `errors` lists them with their line.",
    "taught": "What was asked of waypoints or sequences cannot be.",
    # ---- the coordinator cannot ---------------------------------------------------------------
    "busy": "Too many programs are being checked, or a long text, an image or a record is under "
    "way already; `Retry-After` says how long to wait.",
    "store": "The database cannot be read or written.",
    "data-folder": "The data folder cannot be read.",
    "not-ready": "The coordinator is beginning or ending (only `/readyz`).",
    "internal": "The coordinator made a mistake; its log says more.",
    # ---- the arm, or what commands it, refuses ------------------------------------------------
    **{code.value: code.says for code in RefusalCode},
}
