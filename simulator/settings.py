"""What a software joint is made of: plain figures, handed over by whoever sets up the world."""

from dataclasses import dataclass

from simulator.physics.heat import NOISE_C, USUAL, Build


@dataclass(frozen=True, slots=True)
class JointSettings:
    """One joint of the simulated world. Lengths are true counts (microsteps × 256)."""

    id: str
    """12 hex digits, lasting."""
    name: str
    seed: int
    """Of its crystal, its uptime, its boots and where it stands at first."""
    counts_per_turn: int
    home_centre: int
    """Middle of the home sensor's window."""
    home_half_width: int
    start_low: int
    start_high: int
    """It stands somewhere between these at first; let homing reach the sensor from all of it."""
    home_noise_counts: float = 0.0
    """One standard deviation by which an edge of the window lies elsewhere at every sample."""
    continuous: bool = False
    """Turns without end, so the home sensor comes again every turn."""
    point_capacity: int = 512
    max_step_rate_hz: int = 250_000
    """Of the driver: STEP high and low at least 1.9 µs each (TI SLVSA73)."""
    ambient_c: float = 25.0
    heat: Build = USUAL
    """How its heat gets out of it."""
    noise_c: float = NOISE_C
    """One standard deviation of what its temperature sensor reads."""
    source_v: float = 24.0
    hop_ohm: float = 0.05
    """Resistance of the way from the joint before it, there and back, while it is new."""
    source_ohm: float = 0.0
    """Of the source and its leads; that of the first joint counts."""
    ring_wear_per_turn: float = 0.0
    """By what share of `hop_ohm` each turn of the joint raises it."""
    ring_scatter: float = 0.0
    """Standard deviation of it round the ring, as a share."""
    supply_gain_error: float = 0.0
    """Of the divider that measures the supply: so much is read too much, as a share."""
    supply_noise_v: float = 0.0
    """Standard deviation of a reading of the supply."""
    winding_ohm: float = 2.0
    run_current_a: float = 1.2
    hold_current_a: float = 0.6
    idle_watts: float = 1.0
    """Of the electronics: controller, radio, sensors."""
    rssi_dbm: int = -55
    reduces_current: bool = True
    """Whether it says that it can; builds from before there was a reduced current do not."""
    inputs: int = 0
    outputs: int = 0
    play_counts: int = 0
    """Between motor and output (see `physics.play`). The home sensor watches the output; that of
    joints in C is still taken to watch the motor."""
    slips_above: float = 0.0
    """Counts/s beyond which its motor no longer follows and steps are lost; 0 where it follows at
    any speed. Joints in C always follow."""
    slip_counts: int = 4 * 16 * 256
    """Four full steps of the motor, by which a stepper that slips catches a step again."""
    feedback: tuple[tuple[int, int], ...] = ()
    """Pairs of an input and an output, by their bits: the input follows the output, as that of a
    gripper that closes around something does."""
