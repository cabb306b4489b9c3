"""All that an arm has here in one file: its data folder and its arm file (docs/backup.md).

A backup is made while a coordinator runs, and restored whole or not at all. What is in it is a
closed set of names (`contents`), so nothing that a file says decides where anything is written.
"""
