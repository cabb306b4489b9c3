"""What is under a joint's firmware: its crystal, Hall sensor, heat, supply and motor.

Each is a small closed-form model of the true state of the simulated world. Times come in as
arguments; nothing here ticks.
"""
