"""When it is at each joint, how surely that is known, and what a link needs to be in time.

`JointClock` bounds and estimates one joint's clock from its exchanges, `LinkQuality` says how long
a repeated state takes across and back, `start_delay_us` how far ahead a start must be set for that.
"""
