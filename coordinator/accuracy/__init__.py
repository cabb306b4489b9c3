"""What an operator's own readings say of a joint: repeatability and reversal value."""
