"""What the API answers and is no value of the core: described by the API, read by the client.

Most answers are values of the core, and stand there; here is the rest, so that what a coordinator
says and what a client reads has one form.
"""
