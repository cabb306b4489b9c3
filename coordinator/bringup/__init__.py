"""The bring-up of a joint: what is to be done, what was done, and what a swap asks for again."""
