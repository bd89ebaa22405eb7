"""Mid-drive motor: cradle and boom bolts, firmware, hours. Intervals: common practice, no source.

The installed software version is recorded with the hardware's serial: it evolves apart from it (AMC M.A.305(c)2, analogue).
"""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "motor", "Mid-drive motor",
    tasks=(
        Task("motor_bolts_check", "Motor cradle and boom bolts", "motor", 10, safety=True, release=True,
             plain="We check that motor and boom are bolted firmly."),
        Task("motor_firmware_check", "Motor firmware", "motor", 15, verb="Last checked",
             plain="We check the motor's software and update it if its maker says so."),
        Task("motor_service", "Motor service", "motor", 60, includes=("motor_bolts_check",),
             plain="We look at the motor's bearings, seals and freewheel."),
    ),
    cautions=(
        "Battery out before any work on motor or cables.",
        "After work on boom or drive: test before riding. The motor is opened by its maker or trained people only.",
    ),
)  # fmt: skip
