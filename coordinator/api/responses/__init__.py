"""What the API answers, as the OpenAPI document describes it.

These models are read for the document and by the tests, and by nothing else: no answer passes
through them, so that a mistake here can neither turn a stop into an error nor cost the loop time.
"""
