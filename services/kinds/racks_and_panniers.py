"""Rack and panniers: bolts, cracks at welds, hooks. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "racks_and_panniers", "Rack and panniers",
    tasks=(Task("rack_check", "Rack and panniers", "frame", 5, plain="We check rack bolts and pannier hooks."),),
    cautions=("Stay under the load the rack is marked with.",),
)  # fmt: skip
