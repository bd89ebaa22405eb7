"""General service: every 2,000 km or 12 months (e-bike maker help page; a manual prints 'yearly or 2000 km')."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "general_service", "General service",
    tasks=(
        Task("general_service", "General service", "frame", 90, safety=True, release=True,
             includes=("chain_check", "chain_clean", "idlers_check", "shifting_check", "axle_check", "shock_air_check",
                       "brakes_check", "wheels_check", "tyres_check", "toe_in_check", "steering_joints_check",
                       "hinge_check", "quick_releases_check", "castors_check", "lights_check", "wiring_check",
                       "speed_sensor_check", "display_check", "battery_mount_check", "motor_bolts_check", "seat_check",
                       "rack_check"),
             plain="The yearly service: everything is checked, set and lubricated."),
    ),
    cautions=("Brakes and steering are touched: test before riding.",),
)  # fmt: skip
