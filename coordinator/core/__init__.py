"""The coordinator as one pure machine: sessions, starts, permits, stops, homing, jog.

Events and commands go in with the arm time `now`; what must be sent comes out as values.
"""
