"""The arm's state as values that do not change, for people and programs outside.

The live feed, the answers of the API and their description, the figures and the command line all
have it from here. What is unknown is None, never zero.
"""
