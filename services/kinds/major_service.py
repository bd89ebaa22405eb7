"""Major service: every 6,000 km or 3 years: bearings, cables, drivetrain, tyres, spokes. Covers the general service."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "major_service", "Major service",
    tasks=(
        Task("major_service", "Major service", "frame", 240, safety=True, release=True,
             includes=("general_service", "elastomer_inspection"),
             plain="The large service: bearings, cables, drivetrain, tyres and spokes."),
    ),
    cautions=("Brakes and steering are touched: test before riding.",),
)  # fmt: skip
