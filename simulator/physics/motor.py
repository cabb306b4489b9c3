"""What a stepper motor turns into heat."""


def winding_watts(current_a: float, winding_ohm: float) -> float:
    """Heat of a two-phase stepper's windings, in W, holding or turning.

    `current_a` is the peak that its driver is set to. Microstepping gives the two windings
    I·sin and I·cos, so together they turn I²R to heat at any position. That a turning motor adds
    a little iron loss is left out, and holding at a lower current than turning is the caller's
    affair (both common practice).
    """
    return current_a * current_a * winding_ohm
