"""First inspection: once, after 100 to 300 km or 90 days (e-bike maker help page; trike dealer): things settle."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "first_inspection", "First inspection",
    tasks=(
        Task("first_inspection", "First inspection", "frame", 60, safety=True, release=True,
             includes=("motor_bolts_check", "shifting_check", "wheels_check", "brakes_check", "toe_in_check",
                       "steering_joints_check", "hinge_check", "axle_check"),
             plain="Once, soon after delivery: bolts, cables, spokes and brakes have settled and are set again."),
    ),
    cautions=("Brakes and steering are touched: test before riding.",),
)  # fmt: skip
