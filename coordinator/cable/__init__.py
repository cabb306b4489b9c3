"""From a bare board to a joint of the arm, over its serial cable."""
