"""Through the ends of moves without a stop, within a tolerance and every joint's limits.

In three steps, each of them a closed form:

1. Where two straight lines meet, a parabola takes the place of the corner (`corners`), and the
   arm's speed along lines and parabolas is found by looking ahead (`speeds`): acceleration is
   constant piece by piece (`course`) and within each joint's limit.
2. The position over time is averaged over a window of constant width (`smoothing`). An average
   exceeds nothing that it is made of, so velocity and acceleration stay within their limits; the
   jerk is the change of acceleration over the window divided by its width, so the width that keeps
   within the jerk limit is known. The average of constant accelerations is a cubic between two
   changes: what the wire carries.
3. How far an average strays from the corner is bounded from above, and that bound is what the
   speed through the corner is chosen by.

Sources: parabolic blends, Biagiotti & Melchiorri 2008 §3.2 and §9 (from memory); averaging as a
filter of trajectories, ibid. §4 (from memory).
"""
