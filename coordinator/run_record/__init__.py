"""A run as one HTML file that a person can hand on: made from what is kept, and from nothing else.

What is not known is said so. Whatever comes from a program, a name or a message is text: it passes
`markup.text`, and there is no script, style or address in the file that comes from elsewhere.
"""
