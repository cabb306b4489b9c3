"""What a joint was over time, and what it has done in all, with examples of the whole."""

from typing import Final

from coordinator.answers.joint_history import HopWear, JointHistory, JointWear, Readings
from coordinator.api.responses.base import as_answer

HISTORY: Final = JointHistory(
    joint="elbow",
    from_utc="2026-05-01T09:00:00+00:00",
    to_utc="2026-05-01T10:00:00+00:00",
    stretch_s=1800,
    start_s=(1_777_626_000, 1_777_627_800),
    temperature_c=Readings((31.5, 33.25), (32.4, 38.1), (33.4, 41.5), (1_800, 1_800)),
    supply_v=Readings((23.9, 23.1), (24.0, 23.8), (24.1, 24.0), (1_800, 1_800)),
    rtt_p99_us=Readings(
        (7_900.0, 8_100.0), (8_400.0, 9_000.0), (9_600.0, 14_200.0), (1_800, 1_800)
    ),
    loss=Readings((0.0, 0.0), (0.0021, 0.004), (0.01, 0.015), (1_800, 1_800)),
    clock_uncertainty_us=Readings((380.0, 377.0), (411.5, 409.0), (460.0, 455.0), (1_800, 1_800)),
    hop_ohm=Readings((None, 0.0611), (None, 0.061842), (None, 0.0625), (0, 24)),
    position_error_deg=Readings((None, -0.000406), (None, 0.000012), (None, 0.000398), (0, 15_980)),
    on_s=(1_800.0, 1_800.0),
    moving_s=(0.0, 640.5),
    starts=(0, 112),
    reversals=(0, 98),
    distance_deg=(0.0, 4_310.5),
    temperature_warning_c=65.0,
    temperature_limit_c=80.0,
    supply_warning_v=20.0,
    supply_limit_v=18.0,
)
WEAR: Final = JointWear(
    joint="elbow",
    since_utc="2026-01-12T08:00:00+00:00",
    on_s=1_204_330.2,
    moving_s=411_020.4,
    starts=71_204,
    reversals=60_118,
    distance_deg=2_750_610.5,
    hop=HopWear(
        ohm=0.0619,
        uncertainty_ohm=0.0041,
        message="",
        limit_ohm=0.914,
        beyond=False,
        days=92,
        since="2026-01-12",
        until="2026-05-01",
        ohm_per_day=0.00121,
        uncertainty_ohm_per_day=0.00004,
        passes="2028-04-06",
        earliest="2028-02-01",
        latest="2028-06-17",
        reason="",
    ),
)
as_answer(JointHistory)
as_answer(Readings)
as_answer(HopWear)
as_answer(JointWear)
