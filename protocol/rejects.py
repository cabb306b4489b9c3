"""Every code that a `reject` may carry, and what it means. README.md lists the same.

A code is stable: software may act on it. The sentence beside it in a reject is for people.
"""

from typing import Final

REJECTS: Final[dict[str, str]] = {
    # The handshake (ref 0). The stream is closed after it.
    "protocol-version": "the hello names a version that the joint does not speak",
    "proof-wrong": "the proof does not show that the coordinator holds the arm's key",
    "busy": "the joint moves or has a start pending, for another session",
    "foreign": "another coordinator was heard within the last 5 s",
    "handshake-order": "a frame came that the handshake does not expect at this place",
    "handshake-timeout": "the handshake was not finished within 5 s",
    # The form of a message or frame.
    "message-invalid": "a message is no JSON of this page, lacks a field, or has a wrong one",
    "message-unknown": "the joint does not know a message of this type",
    "frame-length": "a frame's length does not fit its count, or the count is not allowed",
    "frame-type": "a binary body is neither points nor a part of an image",
    "frame-crc": "the CRC-32 of a frame is wrong",
    "frame-field": "a point has flags, a reserved byte or a number that no point may have",
    # The joint's condition.
    "not-configured": "the joint has no configuration yet",
    "not-at-rest": "the request needs a joint at rest without a start pending",
    "unhomed": "the joint does not know its position",
    "faulted": "the joint has a fault",
    "not-energised": "the drivers are off",
    "stop-latched": "a stop is latched; it must be cleared first",
    "stop-still-asked": "the newest drive still carries a stop, so clear cannot lift it",
    "fault-persists": "the cause of a fault is still there, so clear cannot lift it",
    # Configuration, trajectories and points.
    "configuration": "the configuration cannot be obeyed by this joint",
    "trajectory-loaded": "another trajectory is loaded; discard it first",
    "position": "the joint does not stand at the trajectory's first point",
    "first-point": "the first point has a time or a velocity other than 0",
    "points-gap": "the frame begins at another index than the one missing next",
    "points-missing": "the trajectory is not loaded, or not far enough",
    "buffer-full": "the points do not fit into the buffer now",
    "point-order": "the points' times do not grow",
    "segment": "a segment passes the limit of velocity or acceleration, or is too short",
    "range": "a position lies outside the joint's range",
    "output-in-motion": "a point with a velocity other than 0 switches outputs",
    "after-last": "points follow the point marked last",
    "last-moving": "the point marked last has a velocity other than 0",
    # Update.
    "energised": "the drivers are on",
    "on-trial": "the image that runs is not confirmed yet",
    "image-board": "the image is for another board",
    "image-size": "the image is larger than the joint has room for",
    "image-signature": "the image is not signed by the key that the joint trusts",
    "image-gap": "no image was announced, or the frame begins behind the byte that is missing next",
    "image-missing": "no image was announced, or not all of it is here",
    "image-wrong": "what came is not the image that was signed; it was dropped",
    "image-store": "the joint could not store it",
}
